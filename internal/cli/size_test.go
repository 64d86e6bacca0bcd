package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
)

// runSize runs the size command by itself.
func runSize(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	var cmds struct {
		Size sizeCmd `cmd:""`
	}
	parser, err := kong.New(&cmds, kong.Bind(&env{&stdout}), kong.Exit(func(int) { t.Fatal("exit") }))
	if err != nil {
		t.Fatal(err)
	}
	ctx, err := parser.Parse(append([]string{"size"}, args...))
	if err != nil {
		t.Fatal(err)
	}
	status = report(&stderr, guard(func() error { return ctx.Run() }))
	return status, stdout.String(), stderr.String()
}

// TestSize holds the answers for the examples against what was read and kept,
// and each page against the width of a terminal.
func TestSize(t *testing.T) {
	testkit.Alone(t)
	for i, c := range []struct {
		golden string
		status int
		args   []string
	}{
		{"size-pump-motor.txt", exitHolds, []string{"pump-motor", "--error", "0.5 %", "--rise", "4 kN"}},
		{"size-exchanger-bundle.txt", exitFails, []string{
			"exchanger-bundle", "--headroom", "2 m", "--least-angle", "50 deg from horizontal", "--margin", "25 %",
			"--offer", "kind: alloy chain sling, grade: 80", "--offer", "kind: load cell, capacity: 3.25 t, accuracy: 0.1 % fs", "--offer", "kind: load cell, capacity: 6.5 t, accuracy: 0.1 % fs",
		}},
		{"size-stoplog-gate.us.txt", exitHolds, []string{"stoplog-gate", "--units", "us", "--adjust", "low left: - 10 x 30 mm", "--adjust", "low right: 1.9..2.1 m"}},
		{"", exitHolds, []string{"exchanger-bundle", "--units", "us", "--headroom", "8 ft"}},
		{"", exitFails, []string{"pump-motor", "--tilt", "4 deg", "--low-side=-x", "--adjust", "west: + 1 x 84 mm"}},
	} {
		name := c.args[0]
		args := append([]string{filepath.Join(examples, name+".yaml")}, c.args[1:]...)
		status, out, errs := runSize(t, args...)
		if status != c.status || errs != "" {
			t.Errorf("%s: status %d, want %d: %s", name, status, c.status, errs)
		}
		for n, line := range strings.Split(out, "\n") {
			if cells(line) > columns {
				t.Errorf("%s, line %d is %d columns wide: %s", name, n+1, cells(line), line)
			}
		}
		if c.golden != "" {
			golden(t, c.golden, out, sameText)
		}
		if i == 0 {
			if _, again, _ := runSize(t, args...); again != out {
				t.Errorf("%s: the same question got another answer", name)
			}
		}
	}
}

// TestSizeJSON: what the text says, in numbers, with nothing that JSON lacks.
func TestSizeJSON(t *testing.T) {
	testkit.Alone(t)
	status, out, errs := runSize(t, filepath.Join(examples, "pump-motor.yaml"), "--headroom", "2.5 m", "--format", "json")
	var s contract.Size
	if err := json.Unmarshal([]byte(out), &s); err != nil || status != exitHolds || errs != "" {
		t.Fatalf("status %d, %v: %s", status, err, errs)
	}
	if !s.Had || !s.Headroom.Fits || s.Headroom.LimitM != 2.5 || s.Headroom.LeastByAngle != nil || s.Headroom.LeastByWLL == nil {
		t.Errorf("headroom %+v", s.Headroom)
	}
	west := s.Lengths.Practical.Legs["west"]
	if h := s.Lengths.Practical.HeadroomM; h > 2.5 || h < 2.49 || !west.Open || west.P95N == nil || s.Lengths.Exact.Legs["west"].P95N != nil {
		t.Errorf("lengths %+v", s.Lengths.Practical)
	}
	if s.Margin.DynamicFactor != 1.1 || len(s.Places) != 7 || len(s.Gear) != 3 || len(s.Cells) != 2 {
		t.Errorf("margin %+v, %d places, %d kinds of gear, %d cells", s.Margin, len(s.Places), len(s.Gear), len(s.Cells))
	}
	if strings.Contains(out, "null,\n      \"reasons\"") || strings.Contains(out, `"rejected": null`) || strings.Contains(out, `"reasons": null`) {
		t.Error("a list is null")
	}
}

// TestSizeHeld: a load that stands on the ground gets gear and no lengths, and a
// fault when lengths are asked for.
func TestSizeHeld(t *testing.T) {
	testkit.Alone(t)
	text := strings.Replace(valve, "  main: {wll: 5 t}", "  main: {wll: 5 t, at: 0 0 2.6 m}", 1) + "supports: {heel: {at: load.west, level: 0 m}}\n"
	path := file(t, text)
	status, out, errs := runSize(t, path)
	if status != exitHolds || !strings.Contains(out, "LENGTHS: NOT CHOSEN") || !strings.Contains(out, "supports.heel") || !strings.Contains(out, "legs.west") {
		t.Errorf("status %d: %s%s", status, out, errs)
	}
	if status, _, errs := runSize(t, path, "--level"); status != exitInvalid || !strings.Contains(errs, ":16:12: supports.heel: the load also stands on the ground") {
		t.Errorf("status %d: %s", status, errs)
	}
}

// TestSizeRefuses: options that leave a doubt are refused by name.
func TestSizeRefuses(t *testing.T) {
	for _, c := range []struct {
		args string
		told string
	}{
		{"--tilt|3", "--tilt: "},
		{"--tilt|3 deg", "which side is to hang low is not said"},
		{"--low-side|+x", "--low-side: no tilt is given"},
		{"--tilt|3 deg|--low-side|30 deg", "does not say where it counts from"},
		{"--headroom|4", "--headroom: "},
		{"--headroom|-4 m", "--headroom: -4 m will not do"},
		{"--least-angle|45 deg", "--least-angle: "},
		{"--margin|25 m", "--margin: "},
		{"--rise|5", "--rise: "},
		{"--rise|5 ton", "--rise: "},
		{"--adjust|west", "names no leg and its lengths"},
		{"--adjust|west: 2 m", "--adjust west: \"2 m\" is no range"},
		{"--adjust|west: - x 30 mm", "is not so many times a length"},
		{"--adjust|west: 2..3 m by 0 mm", "--adjust west"},
		{"--adjust|north: 2..3 m", `no leg called "north"; its legs are top, west, east`},
		{"--adjust|west: 4..3 m", "--adjust west"},
		{"--offer|kind: bow shackle, size: 3/4 in, grade: A", "--offer"},
		{"--offer|kind: widget", "--offer"},
		{"--offer|kind: web sling", "no table that was read rates"},
		{"--offer|{", "is no piece of gear"},
		{"--data|no/such/folder", ""},
	} {
		args := append([]string{filepath.Join(examples, "pump-motor.yaml")}, strings.Split(c.args, "|")...)
		for i, a := range args { // a value that begins with a minus goes behind =
			if strings.HasPrefix(a, "-") && !strings.HasPrefix(a, "--") {
				args[i-1] += "=" + a
				args = append(args[:i], args[i+1:]...)
				break
			}
		}
		status, out, errs := runSize(t, args...)
		if status != exitInvalid || out != "" || !strings.Contains(errs, c.told) {
			t.Errorf("%s: status %d: %s", c.args, status, errs)
		}
	}
}

// TestSizeFromRegister: gear comes off the register, the smallest that holds and
// is fit on the day.
func TestSizeFromRegister(t *testing.T) {
	testkit.Alone(t)
	dir := filepath.Join(t.TempDir(), "register")
	list := filepath.Join(t.TempDir(), "gear.csv")
	rows := `serial,kind,size,grade,rating,examined,examine by,status
KP-0201,bow shackle,5/8 in,A,3.25 short ton,2026-01-10,2026-07-10,
KP-0202,bow shackle,3/4 in,A,4.75 short ton,2025-01-10,2025-07-10,
KP-0203,bow shackle,7/8 in,A,6.5 short ton,2026-01-10,2026-07-10,
KP-0204,bow shackle,1/2 in,A,2 short ton,2026-01-10,2026-07-10,
KP-0205,bow shackle,1 in,A,8.5 short ton,2026-01-10,2026-07-10,
`
	if err := os.WriteFile(list, []byte(rows), 0o644); err != nil {
		t.Fatal(err)
	}
	if status, out, errs := run("gear", "--data", dir, "--by", "B. Marsh", "import", list); status != exitHolds {
		t.Fatalf("status %d: %s%s", status, out, errs)
	}
	args := []string{filepath.Join(examples, "pump-motor.yaml"), "--data", dir, "--on", "2026-03-01", "--margin", "25 %"}
	// Each shackle has to hold 33.15 kN; 3.25 short tons are 28.9.
	status, out, errs := runSize(t, args...)
	if status != exitHolds || errs != "" {
		t.Errorf("status %d: %s", status, errs)
	}
	text := strings.Join(strings.Fields(out), " ")
	contains(t, "size", text,
		"rated for less than that: KP-0204 17.792, KP-0201 28.91 kN",
		"not KP-0202 (bow shackle, grade A, 3/4 in): it would hold, but",
		"take KP-0203 (bow shackle, grade A, 7/8 in): may carry 57.82 kN there (6.5 short ton) [tag]",
		"next up KP-0205 (bow shackle, grade A, 1 in)")
	// On a day when all are out of date, none will do.
	args[4] = "2027-03-01"
	if status, out, _ := runSize(t, args...); status != exitFails || !strings.Contains(out, "NOTHING THAT WAS LOOKED AT HOLDS") {
		t.Errorf("status %d: %s", status, out)
	}
}
