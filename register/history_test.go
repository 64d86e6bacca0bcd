package register_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/register"
)

var update = flag.Bool("update", false, "write the golden file anew")

// life is one of each change.
func life(t *testing.T) *history {
	h := &history{t: t}
	file := register.File{Name: "scan.pdf", Sum: "ab", Size: 3}
	full := full(t)
	full.Files = []register.File{file}
	full.Defects = []register.Defect{{Part: "pin", What: "worn", Remedy: "replace", By: "2026-12-31"}}
	described := shackle(t)
	described.Location = "van 3"
	for _, c := range []register.Change{
		register.Entering{Item: shackle(t)},
		register.Describing{Item: described, From: "list.csv"},
		register.Attaching{Certificate: "C 17", CertificateDate: "2025-11-03", Files: []register.File{file}},
		full,
		register.Calibration{On: "2026-03-01", Next: "2027-03-01", Certificate: "K 4", Laboratory: "test house", Files: []register.File{file}},
		register.Inspection{On: "2026-03-02", By: "rigger", Tag: register.Bad, Latch: register.NotApplicable, Damage: register.Good, Note: "painted over"},
		register.Release{Reason: "new tag"},
		register.Quarantine{Reason: "dropped"},
		register.Scrapping{Reason: "cracked"},
		register.Destruction{Versions: []int{6}, Rule: "a rule"},
	} {
		h.do(c)
	}
	return h
}

// TestRecordFormat keeps the bytes of records: registers in use are full of
// them, so what was written has to be read for ever, and its checksums hold.
func TestRecordFormat(t *testing.T) {
	h := life(t)
	var b bytes.Buffer
	for _, e := range h.events {
		fmt.Fprintf(&b, "%d %s %x\n%s\n", e.Version, e.Name, e.Sum, e.Body)
	}
	fmt.Fprintf(&b, "item\n%s\n", h.item.Encode())
	const path = "testdata/records.golden"
	if *update {
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	must(t, want, err)
	if !bytes.Equal(b.Bytes(), want) {
		t.Errorf("records are written\n%s\nwant\n%s", b.Bytes(), want)
	}
}

func TestReplay(t *testing.T) {
	h := life(t)
	again, err := register.Replay(h.events)
	must(t, again, err)
	if !reflect.DeepEqual(again, h.item) {
		t.Errorf("the events add up to %+v\nwant %+v", again, h.item)
	}
	same, err := register.Decode(h.item.Encode())
	must(t, same, err)
	same.Version, same.Head = h.item.Version, h.item.Head
	if !reflect.DeepEqual(same, h.item) {
		t.Errorf("decoded %+v\nwant %+v", same, h.item)
	}
	for name, spoil := range map[string]func([]register.Event) []register.Event{
		"a body altered":           func(e []register.Event) []register.Event { e[3].Body[40]++; return e },
		"body and its sum altered": func(e []register.Event) []register.Event { e[3].BodySum[0]++; e[3].Body = nil; return e },
		"another person":           func(e []register.Event) []register.Event { e[7].By = "somebody"; return e },
		"another day":              func(e []register.Event) []register.Event { e[7].Day = "2026-12-02"; return e },
		"another moment":           func(e []register.Event) []register.Event { e[7].At = e[7].At.Add(1000); return e },
		"another kind of change":   func(e []register.Event) []register.Event { e[8].Name = "released"; return e },
		"one left out":             func(e []register.Event) []register.Event { return append(e[:4], e[5:]...) },
		"the first left out":       func(e []register.Event) []register.Event { return e[1:] },
		"two swapped":              func(e []register.Event) []register.Event { e[7], e[8] = e[8], e[7]; return e },
		"renumbered after one left out": func(e []register.Event) []register.Event {
			e = append(e[:4], e[5:]...)
			for i := range e {
				e[i].Version = i + 1
			}
			return e
		},
	} {
		events := life(t).events
		if _, err := register.Replay(spoil(events)); code(err) != fault.Disagree {
			t.Errorf("%s: %v", name, err)
		}
	}
	gone := life(t).events
	gone[5].Body = nil
	if it, err := register.Replay(gone); err != nil || it.Head != h.item.Head || it.Inspection != nil {
		t.Errorf("with a record destroyed: %+v, %v", it, err)
	}
	later := life(t).events
	later[9].Name = "melted"
	later[9].Sum = [32]byte{}
	if _, err := later[9].Change(); code(err) != fault.Unsupported {
		t.Errorf("a change of a newer program: %v", err)
	}
}

// TestEncode: what compact JSON leaves out reads back as it was.
func TestEncode(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		it := drawItem(t, "S")
		if rapid.Bool().Draw(t, "inspected") {
			it.Inspection = &register.Inspection{On: "2026-01-01", Tag: register.Good}
		}
		data := it.Encode()
		if !json.Valid(data) {
			t.Fatalf("not JSON: %s", data)
		}
		got, err := register.Decode(data)
		must(t, got, err)
		if !reflect.DeepEqual(got, it) {
			t.Fatalf("%s\nreads %+v\nwant %+v", data, got, it)
		}
	})
}

func TestRefusedChanges(t *testing.T) {
	in := entered(t, shackle(t))
	held := then(t, in, register.Quarantine{Reason: "dropped"}, stamp)
	ended := then(t, in, register.Scrapping{Reason: "worn"}, stamp)
	other := shackle(t)
	other.Serial = "KP-2"
	late := full(t)
	late.On = "2026-03-03"
	for _, c := range []struct {
		name  string
		it    register.Item
		c     register.Change
		stamp register.Stamp
		code  fault.Code // empty: goes
	}{
		{"entered twice", in, register.Entering{Item: shackle(t)}, stamp, fault.Duplicate},
		{"entered with no serial", register.Item{}, register.Entering{Item: register.Item{Kind: "x", Status: register.InService}}, stamp, fault.Missing},
		{"described as another", in, register.Describing{Item: other}, stamp, fault.Disagree},
		{"quarantined twice", held, register.Quarantine{Reason: "x"}, stamp, fault.Disagree},
		{"quarantined with no reason", in, register.Quarantine{}, stamp, fault.Missing},
		{"quarantined by nobody", in, register.Quarantine{Reason: "x"}, register.Stamp{Day: "2026-03-02"}, fault.Missing},
		{"quarantined on no day", in, register.Quarantine{Reason: "x"}, register.Stamp{By: "x"}, fault.Missing},
		{"a reason in two lines", in, register.Quarantine{Reason: "x\ny"}, stamp, fault.Syntax},
		{"a person in two lines", in, register.Quarantine{Reason: "x"}, register.Stamp{Day: "2026-03-02", By: "x\ny"}, fault.Syntax},
		{"released in service", in, register.Release{Reason: "x"}, stamp, fault.Disagree},
		{"released", held, register.Release{Reason: "x"}, stamp, ""},
		{"scrapped in quarantine", held, register.Scrapping{Reason: "x"}, stamp, ""},
		{"scrapped twice", ended, register.Scrapping{Reason: "x"}, stamp, fault.Disagree},
		{"released after the end", ended, register.Release{Reason: "x"}, stamp, fault.Disagree},
		{"described after the end", ended, register.Describing{Item: shackle(t)}, stamp, fault.Disagree},
		{"examined after the end", ended, full(t), stamp, fault.Disagree},
		{"attached after the end", ended, register.Attaching{Certificate: "C"}, stamp, ""},
		{"attached nothing", in, register.Attaching{}, stamp, fault.Missing},
		{"attached a date alone", in, register.Attaching{CertificateDate: "2026-01-01", Files: []register.File{{Name: "a"}}}, stamp, fault.Missing},
		{"a file name that turns text around", in, register.Attaching{Files: []register.File{{Name: "a\u202eb"}}}, stamp, fault.Syntax},
		{"examined tomorrow", in, late, stamp, fault.Range},
		{"calibrated with no next", in, register.Calibration{On: "2026-03-01"}, stamp, fault.Missing},
		{"calibrated tomorrow", in, register.Calibration{On: "2026-03-03", Next: "2027-03-03"}, stamp, fault.Range},
		{"calibrated backwards", in, register.Calibration{On: "2026-03-01", Next: "2026-03-01"}, stamp, fault.Range},
		{"inspected by nobody", in, register.Inspection{On: "2026-03-01", Tag: register.Good, Latch: register.Good, Damage: register.Good}, stamp, fault.Missing},
		{"inspected with a tick left out", in, register.Inspection{On: "2026-03-01", By: "x", Tag: register.Good, Damage: register.Good}, stamp, fault.Missing},
		{"inspected, tag not applicable", in, register.Inspection{On: "2026-03-01", By: "x", Tag: register.NotApplicable, Latch: register.Good, Damage: register.Good}, stamp, fault.Missing},
		{"inspected tomorrow", in, register.Inspection{On: "2026-03-03", By: "x", Tag: register.Good, Latch: register.Good, Damage: register.Good}, stamp, fault.Range},
		{"destroyed by no rule", in, register.Destruction{Versions: []int{1}}, stamp, fault.Missing},
	} {
		before := c.it.Encode()
		e, err := c.it.Next(c.c, c.stamp, moment)
		if code(err) != c.code || err == nil && e.Item.Version != c.it.Version+1 {
			t.Errorf("%s: %v, want %q", c.name, err, c.code)
		}
		if !bytes.Equal(before, c.it.Encode()) {
			t.Errorf("%s: the item itself was changed", c.name)
		}
	}
}
