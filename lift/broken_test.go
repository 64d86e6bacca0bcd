package lift_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/lift"
)

var update = flag.Bool("update", false, "write the golden texts of examples/broken anew")

const broken = "../examples/broken"

// TestBrokenFiles compares what is said of each broken file with the text
// beside it.
func TestBrokenFiles(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(broken, "*.yaml"))
	if err != nil || len(files) < 11 {
		t.Fatalf("found %d broken files: %v", len(files), err)
	}
	for _, path := range files {
		name := filepath.Base(path)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		_, err = lift.Read(name, os.DirFS(broken), data)
		if err == nil {
			t.Errorf("%s was accepted", name)
			continue
		}
		faults := fault.Of(err)
		if one := name != "many.yaml"; one != (len(faults) == 1) {
			t.Errorf("%s: %d faults", name, len(faults))
		}
		for _, f := range faults {
			if f.Pos.Line == 0 || f.Pos.Column == 0 || f.Pos.File != name || f.Do == "" {
				t.Errorf("%s: no place or no advice: %+v", name, f)
			}
		}
		golden := strings.TrimSuffix(path, ".yaml") + ".golden.txt"
		got := err.Error() + "\n"
		if *update {
			if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s:\ngot\n%swant\n%s", name, got, want)
		}
	}
}
