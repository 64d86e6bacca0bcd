package hub

import (
	"context"
	"sync"
	"time"

	"plumbhook/fleet"
	"plumbhook/register"
)

// Desk keeps a node's ledger up to date and shows it.
type Desk struct {
	hub    *Hub
	ledger fleet.Ledger
	own    Own
	stop   context.CancelFunc
	done   sync.WaitGroup

	mu    sync.Mutex
	noted map[string]fleet.Site // as the ledger had them at the start
}

const noteEvery = 5 * time.Second

// Own gives the plans and the gear of the hub's own app.
type Own interface {
	Plans(ctx context.Context) ([]fleet.PlanCopy, error)
	Gear(ctx context.Context) ([]fleet.GearCopy, error)
}

// NewDesk begins to keep a ledger.
func (h *Hub) NewDesk(ctx context.Context, l fleet.Ledger, own Own) (*Desk, error) {
	d := &Desk{hub: h, ledger: l, own: own, noted: map[string]fleet.Site{}}
	sites, err := l.Sites(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range sites {
		d.noted[s.Name] = s
	}
	from, err := l.Place(ctx)
	if err != nil {
		return nil, err
	}
	run, cancel := context.WithCancel(context.Background())
	d.stop = cancel
	d.done.Go(func() {
		_ = h.Follow(run, from, func(to fleet.Place, news []fleet.News) error { return l.Take(run, to, news) })
	})
	d.done.Go(func() {
		t := time.NewTicker(noteEvery)
		defer t.Stop()
		for {
			select {
			case <-run.Done():
				return
			case <-t.C:
				if err := l.Heard(run, h.Heard()); err != nil && run.Err() == nil {
					h.log.Warn("when sites were heard is not noted", "err", err)
				}
			}
		}
	})
	return d, nil
}

// Close ends it.
func (d *Desk) Close() {
	d.stop()
	d.done.Wait()
}

// Trouble says why the hub takes nothing in at present; nil: it does.
func (d *Desk) Trouble() error { return d.hub.Trouble() }

// Node is which node of the hub this is.
func (d *Desk) Node() string { return d.hub.Name() }

// Look shows how the sites stand.
func (d *Desk) Look(ctx context.Context, now time.Time) (fleet.View, error) {
	s := fleet.Seen{Sites: d.hub.Heard(), Behind: map[string]uint64{}, Twice: d.hub.Twice(), Gear: map[string][]register.Item{}}
	d.mu.Lock()
	for i, x := range s.Sites {
		if was, ok := d.noted[x.Name]; ok && x.Heard.IsZero() {
			s.Sites[i] = was
		}
	}
	d.mu.Unlock()
	for site, src := range d.hub.Sources() {
		s.Behind[site] = src.Lag
	}
	local := now.Local()
	day := time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, time.Local)
	var err error
	if s.Tallies, err = d.ledger.Tallies(ctx); err != nil {
		return fleet.View{}, err
	}
	if s.Stops, err = d.ledger.Stops(ctx, day); err != nil {
		return fleet.View{}, err
	}
	gear, err := d.ledger.Documents(ctx, fleet.Gear, "")
	if err != nil {
		return fleet.View{}, err
	}
	for _, g := range gear {
		c, err := fleet.DecodeGear(&g)
		if err != nil {
			d.hub.log.Warn("left out", "err", err)
			continue
		}
		s.Gear[g.Site] = append(s.Gear[g.Site], c.Item)
	}
	return fleet.Look(now, day, s), nil
}
