package station_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"plumbhook/alarm"
	"plumbhook/internal/server"
	"plumbhook/internal/station"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/watch"
)

// A full disk takes nothing from the crew: readings go on being shown, an
// overload is a stop, and the screen says that the recording lacks something.
// With room again and started anew, the recording goes on and names the gap.
func TestDiskFull(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=2m"); err != nil {
		t.Skip("no right to mount a small file system: ", err)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	plan := pumpMotor(t)
	s, _, err := station.Open(station.Options{Dir: dir, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	site := connect(t, s, dir)
	c := gateway(t, site.Address())
	seq := 0
	send := func(w, e float64) {
		seq++
		body := fmt.Sprintf(`{"t": %.6f, "seq": %d, "W": %g, "E": %g}`, float64(time.Now().UnixNano())/1e9, seq, w, e)
		if k := c.Publish("tele/yard/cells", 1, false, body); !k.WaitTimeout(20*time.Second) || k.Error() != nil {
			t.Fatal("not acknowledged: ", k.Error())
		}
	}
	shown := func() bool { v := s.View(); return v.Cells[0].Got == seq && v.Cells[1].Got == seq }
	send(0.1, 0.1)
	until(t, "reads", shown)

	filler := filepath.Join(dir, "filler")
	f, err := os.Create(filler)
	if err != nil {
		t.Fatal(err)
	}
	for block := make([]byte, 4096); ; {
		if _, err := f.Write(block); err != nil {
			break
		}
	}
	f.Close()
	until(t, "said that the recording is at risk", func() bool {
		send(0.1, 0.1)
		for _, a := range s.View().Alarms {
			if a.Kind == alarm.Recording && a.Text != "" {
				return true
			}
		}
		return false
	})
	until(t, "shows the recording at risk", func() bool {
		send(0.1, 0.1)
		return s.Status()[0].State == server.AtRisk
	})
	until(t, "reads with the disk full", shown)
	for range 6 {
		send(50, 60)
		time.Sleep(60 * time.Millisecond)
	}
	until(t, "stops with the disk full", func() bool {
		for _, a := range s.View().Alarms {
			if a.Severity == alarm.Stop {
				return true
			}
		}
		return false
	})
	c.Disconnect(100)
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=64m"); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	site.Close()
	s.Close()

	s, _, err = station.Open(station.Options{Dir: dir, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	site = connect(t, s, dir)
	defer site.Close()
	c = gateway(t, site.Address())
	defer c.Disconnect(0)
	send(0.1, 0.1)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := s.Enter(ctx, logbook.Entry{Kind: logbook.Mark, Who: "A. Rigger", Text: "room again"}); err != nil {
		t.Fatal(err)
	}
	for _, p := range s.Status()[:2] {
		if p.State != server.OK {
			t.Errorf("with room again: %+v", p)
		}
	}
}

// A disk that answers nobody takes nothing from the crew either: the screen
// says that it is slow, readings go on, an overload is a stop. When it answers
// again the recording has everything.
func TestDiskHangs(t *testing.T) {
	dir := t.TempDir()
	image := filepath.Join(t.TempDir(), "image")
	try := func(name string, args ...string) {
		if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
			t.Skipf("no file system that could be frozen: %s: %v, %s", name, err, out)
		}
	}
	try("truncate", "-s", "64M", image)
	try("mkfs.ext4", "-q", "-F", image)
	try("mount", "-o", "loop", image, dir)
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	s, _, err := station.Open(station.Options{Dir: dir, Plan: pumpMotor(t)})
	if err != nil {
		t.Fatal(err)
	}
	site := connect(t, s, dir)
	c := gateway(t, site.Address())
	seq := 0
	var last mqtt.Token
	send := func(w, e float64) {
		seq++
		last = c.Publish("tele/yard/cells", 1, false, fmt.Sprintf(`{"t": %.6f, "seq": %d, "W": %g, "E": %g}`, float64(time.Now().UnixNano())/1e9, seq, w, e))
	}
	shown := func() bool { v := s.View(); return v.Cells[0].Got == seq && v.Cells[1].Got == seq }
	risk := func() string {
		for _, a := range s.View().Alarms {
			if a.Kind == alarm.Recording {
				return a.Text
			}
		}
		return ""
	}
	send(0.1, 0.1)
	until(t, "reads", shown)
	try("fsfreeze", "-f", dir)
	frozen := true
	thaw := func() {
		if frozen {
			frozen = false
			if out, err := exec.Command("fsfreeze", "-u", dir).CombinedOutput(); err != nil {
				t.Fatalf("%v, %s", err, out)
			}
		}
	}
	defer thaw()
	until(t, "said that the disk is slow", func() bool { send(0.1, 0.1); return risk() != "" })
	for range 6 {
		send(50, 60)
		time.Sleep(60 * time.Millisecond)
	}
	until(t, "reads with the disk frozen", shown)
	if s.View().State != watch.StopNow {
		t.Errorf("with the disk frozen an overload gives %s", s.View().State)
	}
	thaw()
	until(t, "all well again", func() bool { send(0.1, 0.1); return risk() == "" })
	if !last.WaitTimeout(20*time.Second) || last.Error() != nil {
		t.Fatal("not acknowledged: ", last.Error())
	}
	c.Disconnect(100)
	if err := site.Close(); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := record.NewReader(filepath.Join(dir, "record"))
	if err != nil {
		t.Fatal(err)
	}
	got := map[uint64]bool{}
	for e, err := range r.From(0) {
		if err != nil {
			t.Fatal(err)
		}
		if e.Kind == logbook.Frame {
			got[e.Frame.Readings[0].Seq] = true
		}
	}
	if len(got) != seq {
		t.Errorf("%d of %d frames are recorded", len(got), seq)
	}
}

// What is too much goes, oldest first; the lift under watch stays, also after a
// restart in its middle.
func TestKeep(t *testing.T) {
	dir, plan := t.TempDir(), pumpMotor(t)
	old, _, err := record.Open(filepath.Join(dir, "record"), record.Options{Segment: 4096})
	if err != nil {
		t.Fatal(err)
	}
	yesterday := reading.At(time.Now().Add(-24 * time.Hour))
	for n := uint64(1); n <= 400; n++ {
		if err := old.Append(&logbook.Entry{N: n, At: yesterday, Kind: logbook.Mark, Text: strings.Repeat("x", 100)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	var began uint64
	for range 2 {
		s, found, err := station.Open(station.Options{Dir: dir, Plan: plan, Keep: record.Keep{Age: time.Hour, Bytes: 1}})
		if err != nil {
			t.Fatal(err)
		}
		if began == 0 {
			began = found.Last + 1
		}
		first := func() uint64 {
			r, err := record.NewReader(filepath.Join(dir, "record"))
			if err != nil {
				t.Fatal(err)
			}
			for e, err := range r.From(0) {
				if err == nil { // else the file went while it was opened
					return e.N
				}
			}
			return 0
		}
		until(t, "removed what is old", func() bool { return first() > 100 })
		if n := first(); n > began {
			t.Errorf("begins with entry %d, the lift with %d", n, began)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
