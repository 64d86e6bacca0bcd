package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
)

// TestThreeMistakes plans a lift from a firm's gear list with three mistakes
// in it: each is found, named and explained.
func TestThreeMistakes(t *testing.T) {
	testkit.Alone(t)
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

// TestBySerial plans a lift whose file names its gear by serials alone: with
// the register the plan is the one that spells everything out, without it what
// is missing is said.
func TestBySerial(t *testing.T) {
	testkit.Alone(t)
	dir := filepath.Join("..", "..", "examples", "register")
	data := t.TempDir()
	if status, out, errs := run("gear", "import", filepath.Join(dir, "gear-list.csv"), "--data", data, "--on", "2026-11-25"); status != exitHolds {
		t.Fatalf("import: status %d, %s%s", status, out, errs)
	}
	file := filepath.Join(dir, "by-serial.yaml")
	checked := func(file string) contract.Check {
		t.Helper()
		_, out, errs := run("check", file, "--format", "json", "--data", data, "--on", "2026-11-25")
		var c contract.Check
		if err := json.Unmarshal([]byte(out), &c); err != nil {
			t.Fatalf("%v\n%s", err, errs)
		}
		return c
	}
	short, full := checked(file), checked(filepath.Join(dir, "three-mistakes.yaml"))
	for i, p := range full.Parts {
		got := short.Parts[i]
		if got.Where != p.Where || got.Kind != p.Kind || *got.LimitN != *p.LimitN && !strings.HasSuffix(p.Where, "stack[4]") {
			t.Errorf("%+v, spelt out %+v", got, p)
		}
	}
	if short.Legs["west"].TensionN != full.Legs["west"].TensionN || len(short.Expected) != 1 || short.Expected[0] != full.Expected[0] {
		t.Errorf("west pulls %v, spelt out %v; readings %+v and %+v", short.Legs["west"], full.Legs["west"], short.Expected, full.Expected)
	}

	for _, args := range [][]string{{"check"}, {"card"}, {"size"}, {"draw", "-o", filepath.Join(data, "x.svg")}} {
		status, out, errs := run(append(args, file)...)
		if status != exitFails || out != "" || !strings.Contains(errs, "the entry says only its serial, `KP-C-007`") || !strings.Contains(errs, "--data DIR") {
			t.Errorf("%v: status %d, %s%s", args, status, out, errs)
		}
		if args[0] != "size" { // the sling is out of date, and that is no matter of lengths
			args = append(args, "--on", "2026-11-25")
		}
		if _, _, errs = run(append(args, file, "--data", data)...); errs != "" {
			t.Errorf("%v with the register: %s", args, errs)
		}
	}

	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lost := filepath.Join(t.TempDir(), "lost.yaml")
	for from, want := range map[string]string{
		"serial: KP-S-012":          "the gear register does not know serial `KP-S-099`",
		"KP-S-012, tag: legible}\n": "",
	} {
		to := "serial: KP-S-099"
		if want == "" { // the leg has a length of its own: it hangs, and is not complete
			to = "KP-S-099}\n    length: 2.1 m\n"
		}
		if err := os.WriteFile(lost, []byte(strings.Replace(string(text), from, to, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		status, out, errs := run("check", lost, "--data", data, "--on", "2026-07-15")
		if want != "" && (status != exitInvalid || !strings.Contains(errs, want)) {
			t.Errorf("status %d, %s%s", status, out, errs)
		}
		said := strings.Join(strings.Fields(out), " ")
		if want == "" && (errs != "" || !strings.Contains(said, "the register does not know serial KP-S-099") || !strings.Contains(said, "(item KP-S-099) has no rating")) {
			t.Errorf("status %d, %s%s", status, out, errs)
		}
	}
}
