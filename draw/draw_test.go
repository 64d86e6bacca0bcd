package draw

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var look4 = flag.String("look", "", "folder to write every scene to, as SVG, PDF and PNG")

func TestLook(t *testing.T) {
	if *look4 == "" {
		t.Skip("no folder given with -look")
	}
	for _, s := range scenes {
		r := s.rig()
		p := Sheet(r.Hung, r.util, r.p95, s.meta)
		for _, ext := range []string{"svg", "pdf", "png"} {
			f, err := os.Create(filepath.Join(*look4, s.name+"."+ext))
			if err != nil {
				t.Fatal(err)
			}
			switch ext {
			case "svg":
				err = p.SVG(f)
			case "pdf":
				err = p.PDF(f)
			case "png":
				err = p.PNG(f, 160)
			}
			if err != nil {
				t.Fatal(err)
			}
			f.Close()
		}
	}
}
