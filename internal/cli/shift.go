package cli

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"io/fs"
	"iter"
	"maps"
	"os"
	"path/filepath"

	"plumbhook/alarm"
	"plumbhook/fault"
	"plumbhook/internal/intake"
	"plumbhook/internal/rehearse"
	"plumbhook/internal/server"
	"plumbhook/internal/station"
	"plumbhook/logbook"
	"plumbhook/record"
	"plumbhook/watch"
)

var _ server.Watcher = (*watching)(nil)

// Of each watch of the app: its folder, and the channel map in it.
const (
	watchesDir = "watches"
	mapFile    = "map.yaml"
	sealedFile = "record.zip"
	// gatewaysDir is where channel maps of the app find the files they name.
	gatewaysDir = "gateways"
)

func (w *watching) watchDir(id string) string {
	return filepath.Join(w.dir, watchesDir, filepath.Base(id))
}

// Begin opens a watch that the app asks for, or goes on with it.
func (w *watching) Begin(ctx context.Context, b server.Beginning) (server.Station, server.Watched, error) {
	var with server.Watched
	out, err := readout(b.Unit)
	if err != nil {
		return nil, with, err
	}
	dir := w.watchDir(b.ID)
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, with, fault.New(fault.Path, "the folder of the watch cannot be made").Because(err).Fix("look at the disk of the data folder")
	}
	var run *rehearse.Run
	password := rand.Text()
	if b.Rehearse != "" {
		if run, err = rehearse.New(b.Plan.Lift, 11, b.Rehearse, rehearse.Options{Rate: 10, Clean: true}); err != nil {
			return nil, with, err
		}
		if w.channels, err = demoMap(b.Plan.Lift); err != nil {
			return nil, with, err
		}
		w.getenv = only(demoSecret, password)
	} else {
		if err := w.readMap(dir, b.Map); err != nil {
			return nil, with, err
		}
		w.getenv = os.Getenv
	}
	if with, err = w.up(ctx, dir, b.Plan, out); err != nil {
		return nil, with, err
	}
	if run != nil {
		play, stop := context.WithCancel(context.Background())
		w.rehearse = stop
		client, err := virtualGateway(w.site.Address(), password)
		if err != nil {
			w.down()
			return nil, with, err
		}
		// The same lift again and again, until the watch is ended.
		w.played.Go(func() {
			defer client.Disconnect(100)
			for play.Err() == nil {
				if err := publish(play, client, run.Samples, 1); err != nil {
					w.log.Error("the rehearsal cannot be played", "err", err)
					return
				}
			}
		})
	}
	return w.station, with, nil
}

// readMap reads the channel map that is given, and keeps it for a restart; with
// none given, the one kept.
func (w *watching) readMap(dir, text string) error {
	at := filepath.Join(dir, mapFile)
	if text == "" {
		b, err := os.ReadFile(at)
		if err != nil {
			return fault.New(fault.Path, "the channel map of the watch cannot be read").In(at).Because(err).Fix("end the watch, and begin it anew with a channel map")
		}
		text = string(b)
	}
	w.files = nil
	if root, err := os.OpenRoot(filepath.Join(w.dir, gatewaysDir)); err == nil {
		w.files = root.FS()
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fault.New(fault.Path, "the folder of the gateways' files cannot be opened").Because(err).Fix("look at your rights to it")
	}
	m, err := intake.Read(mapFile, w.files, []byte(text))
	if err != nil {
		return err
	}
	w.channels = m
	if err := os.WriteFile(at, []byte(text), 0o600); err != nil {
		return fault.New(fault.Path, "the channel map cannot be kept").Because(err).Fix("look at the disk of the data folder")
	}
	return nil
}

// End ends the watch that the app has on. A watch that could not be gone on with
// after a restart ends too.
func (w *watching) End(id string) (stops int, err error) {
	w.down()
	w.channels, w.files = nil, nil
	r, err := record.NewReader(filepath.Join(w.watchDir(id), "record"))
	if err != nil {
		return 0, err
	}
	for e, err := range r.From(0) {
		var ev alarm.Event
		if err == nil && e.Kind == logbook.Event && json.Unmarshal([]byte(e.Text), &ev) == nil && ev.Change == alarm.Raised && ev.Severity == alarm.Stop {
			stops++
		}
	}
	return stops, nil
}

// Sealed is where the sealed record of a watch is; empty: it has none.
func (w *watching) Sealed(id string) string {
	path := filepath.Join(w.watchDir(id), sealedFile)
	if _, err := os.Stat(path); err != nil {
		return ""
	}
	return path
}

// Seal seals the record of a watch that has ended, by the key of the data folder.
func (w *watching) Seal(b server.Beginning) (string, error) {
	w.sealing.Lock() // two of them would take the same place in the chain
	defer w.sealing.Unlock()
	if path := w.Sealed(b.ID); path != "" {
		return path, nil
	}
	path := filepath.Join(w.watchDir(b.ID), sealedFile)
	s := sealing{Seal: path, Data: w.dir, text: []byte(b.Text)}
	_, _, err := s.through(w.watchDir(b.ID), b.Plan, false, nil)
	return path, err
}

// Record gives what a watch was told, and with which options it judged.
func (w *watching) Record(b server.Beginning) (iter.Seq2[*logbook.Entry, error], watch.Options, error) {
	o := watch.Options{}
	out, err := readout(b.Unit)
	if err != nil {
		return nil, o, err
	}
	curves := station.Curves{}
	o.Show = func(n float64) string { return shownIn(out, n) }
	o.Later, o.Curves = true, curves
	r, err := record.NewReader(filepath.Join(w.watchDir(b.ID), "record"))
	if err != nil {
		return nil, o, err
	}
	// The recording notes the calibrations that it was judged by.
	return func(yield func(*logbook.Entry, error) bool) {
		for e, err := range r.From(0) {
			if err == nil {
				now, ok, bad := station.CurvesIn(e)
				if ok {
					clear(curves)
					maps.Copy(curves, now)
				}
				err = bad
			}
			if !yield(e, err) {
				return
			}
		}
	}, o, nil
}
