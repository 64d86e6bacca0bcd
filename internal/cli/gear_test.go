package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"plumbhook/contract"
)

// gear runs a gear command on a data folder.
func gear(t *testing.T, dir string, args ...string) (status int, out, errs string) {
	t.Helper()
	var cmds struct {
		Gear gearCmd `cmd:""`
	}
	var stdout, stderr bytes.Buffer
	parser, err := kong.New(&cmds, kong.Name("plumbhook"), kong.Writers(&stdout, &stderr), kong.Bind(&env{&stdout}))
	if err != nil {
		t.Fatal(err)
	}
	ctx, err := parser.Parse(append([]string{"gear", "--data", dir}, args...))
	if err != nil {
		return exitInvalid, "", err.Error()
	}
	status = report(&stderr, guard(func() error { return ctx.Run() }))
	return status, stdout.String(), stderr.String()
}

// does is gear for what must go well.
func does(t *testing.T, dir string, args ...string) string {
	t.Helper()
	status, out, errs := gear(t, dir, args...)
	if status != exitHolds {
		t.Fatalf("gear %q: exit %d\n%s%s", args, status, out, errs)
	}
	return out
}

const gearList = `Serial No,kind,WLL (t),location,examined,examine_by,size,Colour
KP-0117,bow shackle,5.9,"Kestrel Point, cage 2",2026-02-10,2026-08-10,"7/8 in",
KP-0200,wire rope sling,4.5,"Kestrel Point, cage 2",2025-08-01,2026-02-01,,blue
KP-0301,load cell,6.5,test bench,,,,
`

func gearFileOf(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// stocked is a data folder with gearList on its register.
func stocked(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "data")
	does(t, dir, "import", gearFileOf(t, "gear.csv", gearList), "--on", "2026-03-01")
	return dir
}

func contains(t *testing.T, what, text string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("%s does not say %q:\n%s", what, p, text)
		}
	}
}

func TestGearImport(t *testing.T) {
	good := gearFileOf(t, "good.csv", gearList)
	mixed := gearFileOf(t, "mixed.csv", `serial,kind,wll,examined,examine_by
KP-1,bow shackle,6.5 short ton,2026-01-01,2026-07-01
KP-2,bow shackle,6.5 ton,2026-01-01,2026-07-01
KP-3,bow shackle,6.5,03/04/2026,2026-07-01
,bow shackle,1 t,2026-01-01,2026-07-01
KP-5,bow shackle,1 t,2026-07-01,2026-01-01
KP-6,bow shackle,1 t,2026-01-01,2026-07-01
KP-6,bow shackle,2 t,2026-01-01,2026-07-01
`)
	bad := gearFileOf(t, "bad.csv", "serial,kind\n,\nKP-1,\n")
	for _, c := range []struct {
		name   string
		args   []string
		status int
		items  string // the list's last line afterwards
		says   []string
	}{
		{"good", []string{good}, exitHolds, "3 items", []string{"imported: 3 rows; 3 new, 0 changed, 0 there already, 0 refused", "rating in t", "kept as facts: size, colour"}},
		{"dry run", []string{good, "--dry-run"}, exitHolds, "", []string{"dry run, nothing written: 3 rows; 3 new"}},
		{"lenient", []string{mixed}, exitFails, "1 item", []string{
			"mixed.csv:3:18: row 2, rating: \"ton\" can mean several units",
			"mixed.csv:4:18: row 3, rating: a rating needs a unit",
			"mixed.csv:4:22: row 3, examined: 03/04/2026 can mean 2026-04-03 or 2026-03-04",
			"mixed.csv:5:1: row 4, serial: there is no serial",
			"mixed.csv:6:33: row 5, examine_by: examine_by 2026-01-01 is before examined 2026-07-01",
			"mixed.csv:7: KP-6: this serial stands in line 8 too, with other figures; neither row is taken",
			"mixed.csv:8: KP-6: this serial stands in line 7 too",
			"imported: 7 rows; 1 new, 0 changed, 0 there already, 6 refused",
		}},
		{"strict", []string{mixed, "--strict"}, exitInvalid, "0 items", []string{"nothing imported: one row or more is bad, and --strict was asked for: 7 rows; 1 new"}},
		{"dry run of it", []string{mixed, "--dry-run"}, exitFails, "", []string{"row 2, rating", "dry run, nothing written: 7 rows; 1 new"}},
		{"strict dry run of it", []string{mixed, "--dry-run", "--strict"}, exitInvalid, "", []string{"row 2, rating"}},
		{"nothing good", []string{bad}, exitInvalid, "0 items", []string{"1 row; 0 new", "1 refused"}},
		{"no such file", []string{"nowhere.csv"}, exitInvalid, "", nil},
		{"heading unknown", []string{good, "--map", "Asset=serial"}, exitInvalid, "", nil},
		{"json", []string{mixed, "--format", "json"}, exitFails, "1 item", []string{`"refused": 6`, `"code": "ambiguous"`, `"line": 3`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "data")
			status, out, errs := gear(t, dir, append([]string{"import", "--on", "2026-12-01"}, c.args...)...)
			if status != c.status {
				t.Errorf("exit %d, want %d\n%s", status, c.status, errs)
			}
			contains(t, "the report", out, c.says...)
			if c.items == "" {
				if _, err := os.Stat(dir); err == nil {
					t.Error("a data folder was made")
				}
				return
			}
			lines := strings.Split(strings.TrimSpace(does(t, dir, "list")), "\n")
			if last := lines[len(lines)-1]; last != c.items {
				t.Errorf("%s afterwards, want %s", last, c.items)
			}
		})
	}
}

func TestGearImportAgain(t *testing.T) {
	dir := stocked(t)
	again := gearFileOf(t, "again.csv", gearList)
	contains(t, "the same list", does(t, dir, "import", again, "--on", "2026-03-02"), "0 new, 0 changed, 3 there already")
	moved := gearFileOf(t, "moved.csv", strings.Replace(gearList, `test bench`, `van 3`, 1))
	status, out, _ := gear(t, dir, "import", moved, "--on", "2026-03-02")
	if status != exitFails {
		t.Errorf("exit %d for a row that differs", status)
	}
	contains(t, "another list", out, "KP-0301: it is on the register already, with another location", "2 there already, 1 refused")
	contains(t, "with update", does(t, dir, "import", moved, "--update", "--on", "2026-03-02"), "0 new, 1 changed, 2 there already")
	contains(t, "the item", does(t, dir, "show", "kp-0301", "--on", "2026-03-03"), "van 3", "described", "moved.csv")

	exported := filepath.Join(t.TempDir(), "out.csv")
	does(t, dir, "quarantine", "KP-0117", "--reason", "=bent pin", "--by", "store keeper", "--on", "2026-03-04")
	does(t, dir, "export", "-o", exported)
	contains(t, "the export read again", does(t, dir, "import", exported, "--strict", "--on", "2026-03-05"), "3 there already")
	data, err := os.ReadFile(exported)
	if err != nil {
		t.Fatal(err)
	}
	contains(t, "the export", string(data), "'=bent pin")
	copied := filepath.Join(t.TempDir(), "copy")
	does(t, copied, "import", exported, "--strict", "--on", "2026-03-05")
	if got := does(t, copied, "export"); got != string(data) {
		t.Errorf("a register made from an export exports\n%s\nnot\n%s", got, data)
	}
}

func TestGearLife(t *testing.T) {
	dir := stocked(t)
	on := func(day string, args ...string) []string { return append(args, "--on", day, "--by", "store keeper") }

	contains(t, "show", does(t, dir, "show", "kp-0117", "--on", "2026-03-01"), "5.9 t = ", "last 2026-02-10, next by 2026-08-10",
		"NOTE  no inspection before use is on record for 2026-03-01", "not named  entered")
	contains(t, "show of what is overdue", does(t, dir, "show", "KP-0200", "--on", "2026-03-01"), "STOP  its thorough examination was due by 2026-02-01, 28 days before")
	contains(t, "show of what is not known", does(t, dir, "show", "KP-0301", "--on", "2026-03-01"), "NOT ASSESSED  no day is on record by which the next calibration is due")

	for _, args := range [][]string{
		{"quarantine", "KP-0117", "--reason", "x", "--on", "2026-03-01"},
		{"quarantine", "KP-0117", "--by", "x", "--on", "2026-03-01"},
		on("2026-03-01", "release", "KP-0117", "--reason", "it is not held back"),
		on("2026-03-01", "quarantine", "KP-9999", "--reason", "x"),
		on("01/03/2026", "quarantine", "KP-0117", "--reason", "x"),
	} {
		if status, _, _ := gear(t, dir, args...); status != exitInvalid {
			t.Errorf("gear %q: exit %d", args, status)
		}
	}

	contains(t, "a failed inspection", does(t, dir, on("2026-03-02", "inspect", "KP-0117", "--tag", "bad", "--latch", "none", "--damage", "none")...),
		"KP-0117 inspected: quarantined since 2026-03-02 by store keeper: inspection before use: tag missing or not legible")
	does(t, dir, on("2026-03-03", "release", "KP-0117", "--reason", "new tag fitted")...)
	contains(t, "show after the release", does(t, dir, "show", "KP-0117", "--on", "2026-03-03"), "STOP  the last inspection, by store keeper on 2026-03-02, failed it")
	does(t, dir, on("2026-03-03", "inspect", "KP-0117", "--tag", "good", "--latch", "none", "--damage", "none")...)
	contains(t, "show after the next inspection", does(t, dir, "show", "KP-0117", "--on", "2026-03-03"), "nothing on record stands against its use")

	cert := gearFileOf(t, "certificate.pdf", "not really a certificate")
	does(t, dir, on("2026-03-04", "attach", "KP-0117", cert, "--certificate", "C-17", "--dated", "2025-12-01")...)
	fetched := filepath.Join(t.TempDir(), "fetched")
	does(t, dir, "fetch", "KP-0117", "certificate.pdf", "-o", fetched)
	if data, err := os.ReadFile(fetched); err != nil || string(data) != "not really a certificate" {
		t.Errorf("fetched %q, %v", data, err)
	}
	does(t, dir, on("2026-03-04", "calibrate", "KP-0301", "--done", "2026-03-03", "--next", "2027-03-03")...)
	does(t, dir, on("2026-03-05", "scrap", "KP-0200", "--reason", "broken wires")...)
	contains(t, "the list", does(t, dir, "find", "kestrel", "sling"), "KP-0200", "scrapped", "1 item")
	if status, _, errs := gear(t, dir, on("2026-03-06", "release", "KP-0200", "--reason", "second thoughts")...); status != exitInvalid || !strings.Contains(errs, "it was scrapped on 2026-03-05: broken wires") {
		t.Errorf("what is scrapped came back: %d %s", status, errs)
	}

	var shown contract.GearShown
	if err := json.Unmarshal([]byte(does(t, dir, "show", "KP-0117", "--on", "2026-03-04", "--format", "json")), &shown); err != nil {
		t.Fatal(err)
	}
	if shown.Item.Version != 5 || len(shown.History) != 5 || *shown.Item.Certificate != "C-17" || len(shown.Item.Files) != 1 || shown.Item.Rating.Text != "5.9 t" {
		t.Errorf("show as JSON: %+v", shown)
	}
}

func TestGearDue(t *testing.T) {
	dir := stocked(t)
	contains(t, "due", does(t, dir, "due", "--on", "2026-03-01"), "KP-0200", "28 days overdue", "no date on record", "1 overdue, 0 due by 2026-03-31, 2 without a date")
	contains(t, "due with a longer look", does(t, dir, "due", "--on", "2026-03-01", "--within", "200"), "in 162 days", "1 overdue, 1 due")
	var due struct {
		On  string
		Due []contract.GearDue
	}
	if err := json.Unmarshal([]byte(does(t, dir, "due", "--on", "2026-02-01", "--format", "json")), &due); err != nil {
		t.Fatal(err)
	}
	if due.On != "2026-02-01" || len(due.Due) != 3 || due.Due[0].By != nil || due.Due[2].Serial != "KP-0200" || *due.Due[2].Days != 0 || due.Due[2].Overdue {
		t.Errorf("due as JSON: %+v", due)
	}
	ics := does(t, dir, "due", "--on", "2026-03-01", "--format", "ics")
	contains(t, "the calendar", ics, "BEGIN:VCALENDAR\r\n", "DTSTART;VALUE=DATE:20260201\r\n", `LOCATION:Kestrel Point\, cage 2`)
	if n := strings.Count(ics, "BEGIN:VEVENT"); n != 3 {
		t.Errorf("%d events", n)
	}
	if status, _, errs := gear(t, t.TempDir(), "due"); status != exitInvalid || !strings.Contains(errs, "there is no register") {
		t.Errorf("a folder without a register: %d %s", status, errs)
	}
}

// filled answers the blank report of KP-0117.
func filled(t *testing.T, dir string, answers map[string]string) string {
	t.Helper()
	lines := strings.Split(does(t, dir, "examine", "KP-0117", "--blank"), "\n")
	var path []string
	for i, line := range lines {
		key, _, ok := strings.Cut(line, ":")
		if !ok || strings.HasPrefix(line, "#") {
			continue
		}
		depth := (len(key) - len(strings.TrimLeft(key, " "))) / 2
		path = append(path[:depth], strings.TrimSpace(key))
		if v, ok := answers[strings.Join(path, ".")]; ok {
			lines[i] = key + ": " + v
		}
	}
	return gearFileOf(t, "report.yaml", strings.Join(lines, "\n"))
}

func answers(more ...string) map[string]string {
	a := map[string]string{
		"employer.name": "Kestrel Point Waterworks", "employer.address": "1 Weir Lane, Kestrel Point", "premises": "1 Weir Lane, Kestrel Point",
		"basis": "within 6 months", "safe": "yes", "next": "2026-09-01", "on": "2026-03-01", "reported": "2026-03-02",
		"examiner.name": "A. Examiner", "examiner.address": "2 Weir Lane, Kestrel Point", "examiner.qualifications": "lifting equipment examiner",
		"examiner.self_employed": "yes",
	}
	for i := 0; i < len(more); i += 2 {
		a[more[i]] = more[i+1]
	}
	return a
}

func TestGearExamine(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers map[string]string
		status  int
		says    string
	}{
		{"as it should be", answers(), exitHolds, "KP-0117 examined: in service"},
		{"nothing filled in", nil, exitInvalid, "safe: the report does not say; write yes or no"},
		{"a name is missing", answers("examiner.name", ""), exitInvalid, "report.yaml:21:8: examiner.name: the report does not say; fill it in: LOLER 1998 Schedule 1 paragraph 9"},
		{"too late", answers("next", "2026-09-02"), exitInvalid, "next: 2026-09-02 is more than 6 months after the examination; LOLER 1998 regulation 9(3)(a)(i): no later than 2026-09-01"},
		{"more than the tag", answers("swl", "6.5 t"), exitInvalid, "swl: 6.5 t is more than the 5.9 t on record"},
		{"a bare ton", answers("swl", "5.9 ton"), exitInvalid, "can mean several units"},
		{"a date that can mean two days", answers("on", "03/04/2026"), exitInvalid, "on: 03/04/2026 can mean"},
		{
			"a danger now", answers("safe", "no", "defects", "[{part: pin, defect: bent, remedy: replace it, danger: now}]"), exitHolds,
			"KP-0117 examined: quarantined since 2026-03-01 by store keeper: thorough examination: pin: bent",
		},
		{"safe with a danger", answers("defects", "[{part: pin, defect: bent, remedy: replace it, danger: now}]"), exitInvalid, "safe: the item has a defect that is a danger now"},
		{"a danger later", answers("defects", "[{part: pin, defect: worn, remedy: replace it, danger: 2026-05-01}]"), exitHolds, "in service"},
		{"not a basis", answers("basis", "once"), exitInvalid, `basis: "once" is no basis`},
		{"a key unknown", answers("tests", "none\nbolts: 3"), exitInvalid, "bolts"},
		{"about another item", answers("serial", "KP-0200"), exitInvalid, `the report is about "KP-0200", the command about "KP-0117"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := stocked(t)
			path := filled(t, dir, c.answers)
			status, out, errs := gear(t, dir, "examine", "KP-0117", path, "--attach", path, "--by", "store keeper", "--on", "2026-03-03")
			if status != c.status {
				t.Errorf("exit %d, want %d", status, c.status)
			}
			contains(t, "the command", out+errs, c.says)
		})
	}
	dir := stocked(t)
	path := filled(t, dir, answers("defects", "[{part: pin, defect: worn, remedy: replace it, danger: 2026-05-01}]"))
	does(t, dir, "examine", "KP-0117", path, "--by", "store keeper", "--on", "2026-03-03")
	contains(t, "show before", does(t, dir, "show", "KP-0117", "--on", "2026-05-01"), "CAUTION  pin: worn: it has to be mended by 2026-05-01")
	contains(t, "show after", does(t, dir, "show", "KP-0117", "--on", "2026-05-02"), "STOP  pin: worn: it had to be mended by 2026-05-01")
	contains(t, "due", does(t, dir, "due", "--on", "2026-05-02"), "defect to mend", "1 day overdue")
}

func TestGearLabels(t *testing.T) {
	dir := stocked(t)
	does(t, dir, "scrap", "KP-0200", "--reason", "broken wires", "--by", "store keeper", "--on", "2026-03-05")
	var pages [2][]byte
	for i := range pages {
		path := filepath.Join(t.TempDir(), "labels.pdf")
		does(t, dir, "labels", "-o", path)
		var err error
		if pages[i], err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(pages[0], pages[1]) || !bytes.HasPrefix(pages[0], []byte("%PDF-")) {
		t.Error("the same labels gave other bytes, or no PDF")
	}
	for _, args := range [][]string{{"labels", "-o", "labels.txt"}, {"labels", "KP-1", "-o", filepath.Join(dir, "x.pdf")}} {
		if status, _, _ := gear(t, dir, args...); status != exitInvalid {
			t.Errorf("gear %q: exit %d", args, status)
		}
	}
}

func TestGearDestroy(t *testing.T) {
	dir := stocked(t)
	examine := func(day, next string) {
		path := filled(t, dir, answers("on", day, "reported", day, "next", next))
		does(t, dir, "examine", "KP-0117", path, "--attach", path, "--by", "store keeper", "--on", day)
	}
	examine("2026-03-01", "2026-09-01")
	contains(t, "two years on, with no later report", does(t, dir, "destroy", "--on", "2028-03-02"), "0 records need no longer be kept")
	examine("2026-08-20", "2027-02-20")
	contains(t, "a later report, but two years are not over", does(t, dir, "destroy", "--on", "2028-03-01"), "0 records")
	contains(t, "dry", does(t, dir, "destroy", "--on", "2028-03-02"), "KP-0117 record 2, examined of 2026-03-01: LOLER 1998 regulation 11(2)(a)(iv)", "1 record need no longer be kept; nothing was destroyed")
	if status, _, _ := gear(t, dir, "destroy", "--on", "2028-03-02", "--confirm"); status != exitInvalid {
		t.Errorf("destroyed without a name: exit %d", status)
	}
	before := files(t, dir)
	contains(t, "wet", does(t, dir, "destroy", "--on", "2028-03-02", "--confirm", "--by", "store keeper"), "1 record destroyed; the checksums stay")
	if after := files(t, dir); after != before-1 {
		t.Errorf("%d files before, %d after", before, after)
	}
	contains(t, "show", does(t, dir, "show", "KP-0117", "--on", "2028-03-02"), "history (checksums hold)", "destroyed; its SHA-256 was ", "records [2] by LOLER")
	contains(t, "again", does(t, dir, "destroy", "--on", "2028-03-02"), "0 records")
}

func files(t *testing.T, dir string) (n int) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "files", "*", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		if strings.HasSuffix(f, ".tmp") {
			t.Error("a draft was left:", f)
		}
	}
	return len(found)
}

// TestGearCalendar: the same register on the same day gives the same feed.
func TestGearCalendar(t *testing.T) {
	dir := stocked(t)
	a, b := does(t, dir, "due", "--on", "2026-03-01", "--format", "ics"), does(t, dir, "due", "--on", "2026-03-01", "--format", "ics")
	if a != b {
		t.Errorf("two feeds differ:\n%s", fmt.Sprint(a, b))
	}
}
