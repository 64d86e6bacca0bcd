package cli

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"plumbhook/fault"
	"plumbhook/fleet"
	"plumbhook/internal/authority"
	"plumbhook/internal/hub"
	"plumbhook/internal/server"
	"plumbhook/internal/station"
	"plumbhook/internal/store"
	"plumbhook/job"
	"plumbhook/register"
	"plumbhook/verdict"
)

type admitCmd struct {
	Site string `arg:"" help:"Name of the site: small letters, figures and hyphens."`
	Hub  string `required:"" placeholder:"FILE" help:"The hub's file; a line for the site is written into it."`
	Data string `required:"" placeholder:"DIR" help:"Data folder of the hub, with its certificates."`
	Out  string `required:"" short:"o" placeholder:"FILE" help:"Write what the site needs there. It holds a secret key."`
}

// Help says what it is for.
func (*admitCmd) Help() string {
	return `Makes a key for a site and writes its public half into the hub's file, which each node of the hub takes up within a second or two once it has that file. The file written with -o goes to the site, for serve --join; nobody else may have it. ` +
		`To put a site out, take its line out of the hub's file on every node. Exit status: 0 admitted; 2 the site is admitted already, or a file cannot be read or written; 3 anything else.`
}

// Run admits the site.
func (c *admitCmd) Run(e *env) error {
	if _, err := os.Stat(c.Out); err == nil {
		return fault.New(fault.Duplicate, "the file is there already").In(c.Out).Fix("give another name, or remove it")
	}
	a, err := authority.Load(c.Data)
	if err != nil {
		return err
	}
	j, err := hub.Admit(c.Hub, c.Site, a.PEM())
	if err != nil {
		return err
	}
	if err := os.WriteFile(c.Out, j.Text(), 0o600); err != nil {
		return fault.New(fault.Path, "what the site needs cannot be written").In(c.Out).Because(err).Fix("take the site's line out of %s and admit it again", c.Hub)
	}
	return write(e.out, fmt.Appendf(nil, "admitted   %s\nhub's file %s: give it to the other nodes too\nfor it     %s: holds its secret key; serve --join takes it\n", c.Site, c.Hub, c.Out))
}

// joins is what of this program reaches beyond its machine: a node of a hub, the
// link of a site, or neither.
type joins struct {
	hubFile, node, joinFile string

	hub   *hub.Hub
	desk  *hub.Desk
	link  *hub.Link
	store *store.Store
	log   *slog.Logger

	now   atomic.Pointer[watchNow] // nil: no lift is on the watch
	stop  context.CancelFunc       // of carrying the watch that is on
	watch sync.WaitGroup
	quit  context.CancelFunc // of all else
	rest  sync.WaitGroup
}

// watchNow is the lift on the watch, for the beats.
type watchNow struct {
	id      string
	plan    *verdict.Plan
	station *station.Station
	since   time.Time
}

// ownWatch begins the name of the watch that is not of the app: its recording is
// in the data folder itself. The name ends as that of the link's stream does, for
// with another folder the entries count from one again.
const ownWatch = "own-"

func (x *joins) open(ctx context.Context, w *watching, o *server.Options) error {
	x.store, x.log = w.store, w.log
	if x.hubFile != "" {
		a, err := authority.Load(w.dir)
		if err != nil {
			return err
		}
		if x.hub, err = hub.Open(hub.NodeOptions{Dir: w.dir, File: x.hubFile, Node: x.node, Authority: a, Log: w.log}); err != nil {
			return err
		}
		if x.desk, err = x.hub.NewDesk(ctx, w.store.Ledger(), officeOf{w.store}); err != nil {
			return err
		}
		o.Fleet = x.desk
	} else if x.node != "" {
		return option("node", fault.New(fault.Missing, "a node is of a hub").Fix("give the hub's file with --hub"))
	}
	if x.joinFile == "" {
		return nil
	}
	data, err := os.ReadFile(x.joinFile)
	if err != nil {
		return fault.New(fault.Path, "the site's file cannot be read").In(x.joinFile).Because(err)
	}
	j, err := hub.ReadJoining(x.joinFile, data)
	if err != nil {
		return err
	}
	if x.link, err = hub.Join(ctx, hub.LinkOptions{Dir: w.dir, Joining: j, Version: version(), Beat: x.beat, Log: w.log}); err != nil {
		return err
	}
	o.Parts = x.parts
	run, cancel := context.WithCancel(context.Background())
	x.quit = cancel
	x.rest.Go(func() { x.tell(run) })
	x.rest.Go(func() { x.deliver(run, w.dir) })
	return nil
}

// hello says where the hub and the link are.
func (x *joins) hello() (lines []string) {
	if x.hub != nil {
		lines = append(lines, "hub          node "+x.hub.Name()+", of "+x.hubFile)
	}
	if x.link != nil {
		lines = append(lines, "joins        a hub, by "+x.joinFile)
	}
	return lines
}

// beat is what is on the watch now.
func (x *joins) beat() *fleet.OnWatch {
	n := x.now.Load()
	if n == nil {
		return nil
	}
	v := n.station.View()
	on := &fleet.OnWatch{Watch: n.id, Title: n.plan.Lift.Title, Revision: n.plan.Lift.Revision, Since: n.since, State: string(v.State), Do: v.Do}
	for i := range v.Cells {
		if age := v.AgeS; v.Cells[i].Got > 0 && age >= 0 && age < 1e9 { // before the first reading there is none
			on.AgeS = &age
		}
	}
	if used := v.Used; used >= 0 && used < 1e9 {
		on.Used = &used
	}
	return on
}

// begin has a watch carried to the hub.
func (x *joins) begin(id string, p *verdict.Plan, s *station.Station) {
	if x.link == nil {
		return
	}
	if id == ownWatch {
		id += x.link.Birth()
	}
	x.now.Store(&watchNow{id, p, s, time.Now().UTC()})
	ctx, cancel := context.WithCancel(context.Background())
	x.stop = cancel
	x.watch.Go(func() { x.link.Carry(ctx, id, hub.Growing{Recording: s.Recording()}) })
}

// end ends it, once the recording is closed.
func (x *joins) end() {
	x.now.Store(nil)
	if x.stop != nil {
		x.stop()
		x.watch.Wait()
		x.stop = nil
	}
}

// officeOf gives what the hub's own app keeps.
type officeOf struct{ store *store.Store }

// Plans gives the lifts.
func (o officeOf) Plans(ctx context.Context) (copies []fleet.PlanCopy, err error) {
	list, err := o.store.Jobs(ctx, job.Query{})
	for _, j := range list {
		copies = append(copies, fleet.PlanCopy{Site: fleet.Office, Job: j})
	}
	return copies, err
}

// Gear gives the register with its histories.
func (o officeOf) Gear(ctx context.Context) (copies []fleet.GearCopy, err error) {
	items, err := o.store.Find(ctx, register.Query{})
	if err != nil {
		return nil, err
	}
	for i := range items {
		events, err := o.store.History(ctx, items[i].Serial)
		if err != nil {
			return nil, err
		}
		copies = append(copies, fleet.GearCopy{Site: fleet.Office, Item: items[i], Events: events})
	}
	return copies, nil
}

// parts says how the link does.
func (x *joins) parts() server.Status {
	h := x.link.Health()
	p := server.Part{Name: "hub", State: server.OK, Text: fmt.Sprintf("linked since %s", h.Since.Format(time.RFC3339))}
	switch {
	case h.Trouble != nil:
		p.State, p.Text = server.AtRisk, h.Trouble.Error()
	case h.Refused != "":
		p.State, p.Text = server.AtRisk, h.Refused
	case !h.Up:
		p.State, p.Text = server.AtRisk, fmt.Sprintf("no link since %s; what is recorded waits on this disk", h.Since.Format(time.RFC3339))
	}
	return server.Status{p}
}

// deliver sends what earlier watches recorded and the hub has not got.
func (x *joins) deliver(ctx context.Context, dir string) {
	names, err := filepath.Glob(filepath.Join(dir, watchesDir, "*", "record"))
	if err != nil {
		return
	}
	for _, at := range names {
		id := filepath.Base(filepath.Dir(at))
		if n := x.now.Load(); n != nil && n.id == id {
			continue
		}
		r, err := hub.OpenFinished(at)
		if err == nil {
			err = x.link.Deliver(ctx, id, r)
		}
		if err != nil && ctx.Err() == nil {
			x.log.Warn("an earlier watch is not carried to the hub", "watch", id, "err", err)
		}
	}
}

// tellEvery is how often plans and gear are looked through for changes.
const tellEvery = 3 * time.Second

// tell sends plans and gear as they change.
func (x *joins) tell(ctx context.Context) {
	t := time.NewTicker(tellEvery)
	defer t.Stop()
	var gear store.Changed
	var plans time.Time
	for {
		if err := x.tellGear(ctx, &gear); err != nil && ctx.Err() == nil {
			x.log.Warn("gear is not told to the hub", "err", err)
		}
		if err := x.tellPlans(ctx, &plans); err != nil && ctx.Err() == nil {
			x.log.Warn("plans are not told to the hub", "err", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

func (x *joins) tellGear(ctx context.Context, from *store.Changed) error {
	for {
		items, last, err := x.store.ItemsSince(ctx, *from, 200)
		if err != nil || len(items) == 0 {
			return err
		}
		for i := range items {
			events, err := x.store.History(ctx, items[i].Serial)
			if err != nil {
				return err
			}
			body, err := fleet.EncodeGear(&items[i], events)
			if err == nil {
				err = x.link.Send(ctx, fleet.Gear, items[i].Serial, body)
			}
			if err != nil {
				return err
			}
		}
		*from = last
	}
}

func (x *joins) tellPlans(ctx context.Context, from *time.Time) error {
	list, err := x.store.Jobs(ctx, job.Query{})
	if err != nil {
		return err
	}
	newest := *from
	for _, j := range list { // the one changed last first
		if j.Changed.At.Before(*from) {
			break
		}
		whole, err := x.store.Job(ctx, j.ID)
		if err != nil {
			return err
		}
		body, err := fleet.EncodePlan(&whole)
		if err == nil {
			err = x.link.Send(ctx, fleet.Plan, j.ID, body)
		}
		if err != nil {
			return err
		}
		if j.Changed.At.After(newest) {
			newest = j.Changed.At
		}
	}
	*from = newest
	return nil
}

func (x *joins) close() {
	x.end()
	if x.quit != nil {
		x.quit()
		x.rest.Wait()
	}
	if x.desk != nil {
		x.desk.Close()
	}
	if x.hub != nil {
		x.hub.Close()
	}
	if x.link != nil {
		x.link.Close()
	}
}
