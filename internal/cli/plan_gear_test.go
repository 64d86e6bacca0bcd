package cli

import (
	"path/filepath"
	"strings"
	"testing"
)

// TestThreeMistakes plans a lift from a firm's gear list with three mistakes
// in it: each is found, named and explained.
func TestThreeMistakes(t *testing.T) {
	dir := filepath.Join("..", "..", "examples", "register")
	data := t.TempDir()
	if status, out, errs := run("gear", "import", filepath.Join(dir, "gear-list.csv"), "--data", data, "--on", "2026-11-25"); status != exitHolds {
		t.Fatalf("import: status %d, %s%s", status, out, errs)
	}
	file := filepath.Join(dir, "three-mistakes.yaml")
	status, out, errs := run("check", file, "--data", data, "--on", "2026-11-25")
	if status != exitFails || errs != "" {
		t.Fatalf("status %d, %s", status, errs)
	}
	said := strings.Join(strings.Fields(out), " ")
	for _, want := range []string{
		"STOP legs.west.stack[3]: KP-R-031: its thorough examination was due by 2026-08-01, 116 days before",
		"STOP legs.west.stack[1]: the cell demands a pin of 32 mm",
		"the pin of the bow shackle, 25.4 mm, is thinner",
		"legs.west.stack[4]: the shackle on load.west is pulled 26° sideways",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %s\nin %s", want, out)
		}
	}
	// On a day before it ran out, the sling is no reason any more.
	_, out, _ = run("check", file, "--data", data, "--on", "2026-07-31")
	if strings.Contains(out, "was due by 2026-08-01") {
		t.Error("the sling is called out of date on a day when it is not")
	}
	// Without the register the serials are told as not assessed.
	_, out, _ = run("check", file)
	if !strings.Contains(strings.Join(strings.Fields(out), " "), "dates and status of 4 pieces with serials: no register was given") {
		t.Error("serials without a register are passed over in silence")
	}
}
