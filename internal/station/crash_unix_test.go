//go:build unix

package station_test

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"plumbhook/alarm"
	"plumbhook/internal/station"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// TestMain is the child that gets killed when it is told a folder.
func TestMain(m *testing.M) {
	dir := os.Getenv("PLUMBHOOK_STATION_CHILD")
	if dir == "" {
		os.Exit(m.Run())
	}
	t := &fatal{}
	s, _, err := station.Open(station.Options{Dir: dir, Plan: pumpMotor(t)})
	if err != nil {
		t.Fatal(err)
	}
	site := connect(t, s, dir)
	fmt.Println(site.Address())
	time.Sleep(time.Hour)
}

// fatal is what the child needs of a testing.TB.
type fatal struct{ testing.TB }

func (*fatal) Helper() {}
func (*fatal) Fatal(args ...any) {
	fmt.Fprintln(os.Stderr, args...)
	os.Exit(1)
}

// Killed at any moment while a gateway publishes, the station has every
// acknowledged reading in its recording when it is back, each counted once,
// and raises nothing because of the kill but that it was away.
func TestKilled(t *testing.T) {
	kills := 4
	if n, err := strconv.Atoi(os.Getenv("PLUMBHOOK_KILLS")); err == nil {
		kills = n
	}
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(5, 7))
	acked := map[uint64]bool{}
	seq := uint64(0)
	var back []time.Duration
	for range kills {
		began := time.Now()
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), "PLUMBHOOK_STATION_CHILD="+dir)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(out).ReadString('\n')
		if err != nil {
			t.Fatal("the child says nothing: ", err)
		}
		back = append(back, time.Since(began))
		c := gateway(t, line[:len(line)-1])
		end := time.After(time.Duration(100+rng.IntN(1200)) * time.Millisecond)
	sending:
		for {
			select {
			case <-end:
				break sending
			default:
			}
			seq++
			k := c.Publish("tele/yard/cells", 1, false, fmt.Sprintf(`{"t": %.6f, "seq": %d, "W": 0.%d, "E": 0.%d}`, float64(time.Now().UnixNano())/1e9, seq, seq%7, seq%5))
			if k.WaitTimeout(200*time.Millisecond) && k.Error() == nil {
				acked[seq] = true
			}
		}
		_ = child.Process.Kill()
		_ = child.Wait()
		c.Disconnect(0)
	}
	// Once more, so that what was stored and not recorded is taken up.
	s, _, err := station.Open(station.Options{Dir: dir, Plan: pumpMotor(t)})
	if err != nil {
		t.Fatal(err)
	}
	site := connect(t, s, dir)
	v := s.View()
	for _, a := range v.Alarms {
		if a.Kind == alarm.Stale {
			continue // nobody sends any more, which a slow machine has time to notice
		}
		t.Errorf("raised after the kills: %s", a.Text)
	}
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
	got := map[uint64]int{}
	var order reading.Order
	for en, err := range r.From(0) {
		if err != nil {
			t.Fatal(err)
		}
		if en.Kind != logbook.Frame {
			continue
		}
		for i := range en.Frame.Readings {
			x := en.Frame.Readings[i]
			if x.Channel == "W" && order.Next(&x).Turn != reading.Duplicate {
				got[x.Seq]++
			}
		}
	}
	lost := 0
	for n := range acked {
		if got[n] == 0 {
			lost++
		}
	}
	twice := 0
	for _, n := range got {
		if n > 1 {
			twice++
		}
	}
	t.Logf("%d kills, %d acknowledged, %d recorded, back in %v at most", kills, len(acked), len(got), longest(back))
	if lost > 0 || twice > 0 || len(acked) == 0 {
		t.Errorf("%d of %d acknowledged readings lost, %d counted twice", lost, len(acked), twice)
	}
}

func longest(all []time.Duration) (most time.Duration) {
	for _, d := range all {
		most = max(most, d)
	}
	return most
}
