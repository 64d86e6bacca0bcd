package verdict

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"plumbhook/lift"
)

// FuzzCheck: whatever can be read can be checked or is refused with a fault;
// nothing panics, no force is below zero or not a number.
func FuzzCheck(f *testing.F) {
	files, err := filepath.Glob("../examples/*.yaml")
	if err != nil || len(files) == 0 {
		f.Fatal("no examples to start from")
	}
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := lift.Read("fuzz.yaml", nil, data)
		if err != nil {
			return
		}
		p, err := Check(l)
		if err != nil {
			return
		}
		for i := range p.States {
			for _, leg := range p.States[i].Hung.Legs {
				if !(leg.TensionN >= 0) || math.IsInf(leg.TensionN, 0) {
					t.Errorf("leg %s carries %v N", leg.Name, leg.TensionN)
				}
			}
			for _, part := range p.States[i].Parts {
				if math.IsNaN(part.DemandN) {
					t.Errorf("%s has no number for a demand", part.Where)
				}
			}
		}
	})
}
