package hub

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/crypto/bcrypt"

	"plumbhook/fault"
	"plumbhook/fleet"
	"plumbhook/internal/authority"
)

// Names inside the message servers.
const (
	admin        = "$plumbhook" // ourselves; no site can have the name
	hubDomain    = "hub"
	fleetName    = "fleet"   // the hub's stream
	sitePrefix   = "site."   // site.SITE.log.WATCH, site.SITE.doc.KIND.ID
	officePrefix = "office." // office.doc.KIND.ID: what the hub itself has to say
	fleetWords   = "fleet."  // fleet.SITE.beat, fleet.SITE.ask
	outPrefix    = "out-"    // of a site's stream
)

const (
	startLimit = 30 * time.Second
	manageEach = time.Second
	askLimit   = 3 * time.Second
	// stuck is how long a source may be silent, while its site is heard, before
	// it is made anew: sourcing beats every second, and tries again by itself
	// only after up to 40 s.
	stuck     = 4 * time.Second
	anewAfter = 4 * time.Second // doubled at each further try of a site
	anewMost  = 2 * time.Minute
	mostBytes = 1 << 20 // of a message
)

// NodeOptions are what Open needs.
type NodeOptions struct {
	Dir       string // data folder; streams are in its subfolder hub
	File      string // the hub's file; it is looked at again now and then
	Node      string // which of the nodes this is; may be empty in a hub of one
	Authority *authority.Authority
	Log       *slog.Logger // default: none
}

// Hub is one node of a hub at work.
type Hub struct {
	opt      NodeOptions
	node     Node
	settings *Settings // as started
	server   *server.Server
	base     server.Options // all but who may join
	nc       *nats.Conn
	js       jetstream.JetStream
	log      *slog.Logger

	run   context.Context
	stop  context.CancelFunc
	tasks sync.WaitGroup

	mu      sync.Mutex
	sites   map[string]string // admitted: site to public key
	heard   map[string]fleet.Site
	before  map[string]string    // the run of each site before the one heard last
	doubles map[string]time.Time // when two programs spoke as one site
	trouble error                // why the stream cannot be looked after
	sources map[string]Source
	anew    map[string]begun
	denied  int           // connections that were not let in
	ready   chan struct{} // closed when the stream is there
}

// begun is when a site's source was last begun, and how long it has until it is
// begun again.
type begun struct {
	at      time.Time
	patient time.Duration
}

// Source is how the hub's stream takes in a site's.
type Source struct {
	Lag    uint64        // messages the site has and the hub has not
	Active time.Duration // since it was last heard of; negative: never
}

// Open starts a node. The stream is there once enough nodes are: Ready tells.
func Open(o NodeOptions) (_ *Hub, err error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	data, err := os.ReadFile(o.File)
	if err != nil {
		return nil, fault.New(fault.Path, "the hub's file cannot be read").In(o.File).Because(err)
	}
	h := &Hub{
		opt: o, log: o.Log, heard: map[string]fleet.Site{}, before: map[string]string{}, doubles: map[string]time.Time{},
		sources: map[string]Source{}, anew: map[string]begun{}, ready: make(chan struct{}),
	}
	if h.settings, err = ReadSettings(o.File, data); err != nil {
		return nil, err
	}
	if h.node, err = h.settings.node(o.Node); err != nil {
		return nil, err
	}
	h.sites = h.settings.keys()
	h.run, h.stop = context.WithCancel(context.Background())
	defer func() {
		if err != nil {
			h.Close()
		}
	}()
	if err := h.startServer(); err != nil {
		return nil, err
	}
	for _, f := range []func() error{h.listen} {
		if err := f(); err != nil {
			return nil, err
		}
	}
	h.tasks.Go(h.manage)
	h.tasks.Go(func() { h.lookAgain(data) })
	return h, nil
}

func (h *Hub) startServer() error {
	password := rand.Text()
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		return err
	}
	host, port, err := hostPort(h.node.Sites)
	if err != nil {
		return err
	}
	h.base = server.Options{
		// Routes to other nodes begin only where clients are listened to; nobody
		// may come in there.
		ServerName: "hub-" + h.node.Name, Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, MaxPayload: mostBytes + 64<<10,
		JetStream: true, JetStreamDomain: hubDomain, StoreDir: filepath.Join(h.opt.Dir, "hub"),
		// The stream has bounds of its own. It is not synced at each message:
		// what a node loses by a power cut the others have, and what all lose the
		// sites have.
		JetStreamMaxStore: 1 << 50,
		Users: []*server.User{{
			Username: admin, Password: string(hash),
			AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeInProcess: {}},
		}},
		AuthTimeout: 10,
		LeafNode: server.LeafNodeOpts{
			Host: host, Port: port, NoAdvertise: true, IsolateLeafnodeInterest: true, TLSTimeout: 10, AuthTimeout: 10,
			TLSConfig: &tls.Config{GetCertificate: h.opt.Authority.Certificate, MinVersion: tls.VersionTLS13},
		},
	}
	if len(h.settings.Nodes) > 1 {
		if err := h.cluster(); err != nil {
			return err
		}
	}
	s, err := server.NewServer(h.options())
	if err != nil {
		return fault.New(fault.Internal, "the hub's message server refuses its settings").Because(err)
	}
	h.server = s
	l := &talk{log: h.log, run: h.run, who: "hub", bad: h.refused}
	s.SetLoggerV2(l, false, false, false)
	s.Start()
	if !s.ReadyForConnections(startLimit) || l.dead() != nil {
		return fault.New(fault.Path, "the hub's message server does not start").In(h.opt.Dir).Because(l.dead()).
			Fix("check that its addresses are of this machine and free, and that no other Plumbhook uses the data folder")
	}
	if h.nc, err = nats.Connect("", nats.InProcessServer(s), nats.UserInfo(admin, password), nats.Name("hub"), nats.Timeout(startLimit), nats.MaxReconnects(-1),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { h.log.Warn("hub", "err", err) })); err != nil {
		return fault.New(fault.Internal, "the hub's message server does not let us in").Because(err)
	}
	h.js, err = jetstream.New(h.nc, jetstream.WithDefaultTimeout(10*time.Second))
	return err
}

// cluster has the node look for the others.
func (h *Hub) cluster() error {
	host, port, err := hostPort(h.node.Nodes)
	if err != nil {
		return err
	}
	secret, err := h.opt.Authority.Secret("nodes of a hub")
	if err != nil {
		return err
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(h.opt.Authority.PEM())
	h.base.Cluster = server.ClusterOpts{
		Name: "hub", Host: host, Port: port, Username: "node", Password: secret, NoAdvertise: true, TLSTimeout: 10, AuthTimeout: 10,
		PingInterval: 2 * time.Second, MaxPingsOut: 3,
		TLSConfig: &tls.Config{GetCertificate: h.opt.Authority.Certificate, RootCAs: pool, MinVersion: tls.VersionTLS13},
	}
	for _, n := range h.settings.Nodes {
		if n.Name != h.node.Name {
			h.base.Routes = append(h.base.Routes, &url.URL{Scheme: "nats", Host: n.Nodes, User: url.UserPassword("node", secret)})
		}
	}
	return nil
}

// options are the server's with who may join now.
func (h *Hub) options() *server.Options {
	o := h.base.Clone()
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, site := range slices.Sorted(maps.Keys(h.sites)) {
		publish, subscribe := rights(site)
		o.Nkeys = append(o.Nkeys, &server.NkeyUser{
			Nkey: h.sites[site], AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeLeafnode: {}},
			Permissions: &server.Permissions{
				Publish:   &server.SubjectPermission{Allow: publish},
				Subscribe: &server.SubjectPermission{Allow: subscribe},
			},
		})
	}
	return o
}

// rights are the subjects that a site may send on and hear. It answers what the
// hub asks about its streams, at subjects the hub has made up, and speaks below
// its own name. $JS.FC is how the hub slows its sourcing down.
func rights(site string) (publish, subscribe []string) {
	publish = []string{fleetWords + site + ".>", "$JS.S.>", "$JSC.R.>"}
	subscribe = []string{"$JS." + siteDomain(site) + ".API.>", "$JS.FC.>", fleetWords + site + ".inbox.>"}
	return publish, subscribe
}

func siteDomain(site string) string { return "site-" + site }

// Ready is closed once the hub's stream can take messages.
func (h *Hub) Ready() <-chan struct{} { return h.ready }

// Name is the node's.
func (h *Hub) Name() string { return h.node.Name }

// listen hears the beats.
func (h *Hub) listen() error {
	_, err := h.nc.Subscribe(fleetWords+"*.beat", func(m *nats.Msg) {
		var b fleet.Beat
		site := strings.Split(m.Subject, ".")[1]
		if json.Unmarshal(m.Data, &b) != nil || b.Site != site {
			return
		}
		h.mu.Lock()
		defer h.mu.Unlock()
		if h.sites[site] == "" {
			return
		}
		now := time.Now()
		// A restart brings another run, and the one before is not heard again.
		was := h.heard[site].Beat.Run
		if was != "" && was != b.Run {
			if h.before[site] == b.Run {
				h.doubles[site] = now
			}
			h.before[site] = was
		}
		h.heard[site] = fleet.Site{Name: site, Heard: now, Beat: b}
	})
	if err != nil {
		return err
	}
	return h.nc.Flush()
}

// Heard gives the latest beat of each site that is admitted, by name; with a
// zero time of those not heard since the node was started.
func (h *Hub) Heard() []fleet.Site {
	h.mu.Lock()
	defer h.mu.Unlock()
	var list []fleet.Site
	for site := range h.sites {
		s := h.heard[site]
		s.Name = site
		list = append(list, s)
	}
	slices.SortFunc(list, func(a, b fleet.Site) int { return strings.Compare(a.Name, b.Name) })
	return list
}

// Sources tells how each site's log is taken in, as far as the node that leads
// the stream has told.
func (h *Hub) Sources() map[string]Source {
	h.mu.Lock()
	defer h.mu.Unlock()
	return maps.Clone(h.sources)
}

// Twice tells the sites that two programs spoke as, a short while ago.
func (h *Hub) Twice() map[string]bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	twice := map[string]bool{}
	for site, at := range h.doubles {
		twice[site] = time.Since(at) < time.Minute
	}
	return twice
}

// Trouble says why the hub takes nothing in at present; nil: it does.
func (h *Hub) Trouble() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.trouble
}

// refused counts who was not let in.
func (h *Hub) refused(text string) {
	if strings.Contains(text, "authentication error") || strings.Contains(text, "Authorization Violation") {
		h.mu.Lock()
		h.denied++
		h.mu.Unlock()
	}
}

// manage makes the stream and, while this node leads it, has it take in the
// streams of the sites.
func (h *Hub) manage() {
	t := time.NewTicker(manageEach)
	defer t.Stop()
	made := false
	for {
		// While there is no leader nobody answers at all.
		ctx, cancel := context.WithTimeout(h.run, askLimit)
		err := h.lookAfter(ctx, &made)
		cancel()
		if h.run.Err() != nil {
			return
		}
		h.mu.Lock()
		h.trouble = err
		h.mu.Unlock()
		if err != nil {
			h.log.Warn("the hub's stream", "err", err)
		}
		select {
		case <-h.run.Done():
			return
		case <-t.C:
		}
	}
}

func (h *Hub) lookAfter(ctx context.Context, made *bool) error {
	s, err := h.js.Stream(ctx, fleetName)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		s, err = h.js.CreateStream(ctx, jetstream.StreamConfig{
			Name: fleetName, Storage: jetstream.FileStorage, Replicas: h.settings.copies(), Retention: jetstream.LimitsPolicy,
			Discard: jetstream.DiscardOld, MaxAge: h.settings.Keep.age(), MaxBytes: int64(h.settings.Keep.GB * 1e9), DenyDelete: true, AllowDirect: true,
			Subjects: []string{officePrefix + ">"}, Sources: []*jetstream.StreamSource{},
		})
	}
	if err != nil {
		return fault.New(fault.Path, "the hub's stream is not there yet").Because(err).Fix("see that most of the hub's nodes run and reach each other")
	}
	if !*made {
		*made = true
		close(h.ready)
	}
	info, err := s.Info(ctx)
	if err != nil {
		return fault.New(fault.Path, "the hub's stream has no leader").Because(err).Fix("see that most of the hub's nodes run and reach each other")
	}
	now := map[string]Source{}
	for _, src := range info.Sources {
		now[siteOf(src.Name)] = Source{src.Lag, src.Active}
	}
	h.mu.Lock()
	h.sources = now
	h.mu.Unlock()
	if info.Cluster != nil && info.Cluster.Leader != h.server.Name() {
		return nil
	}
	return h.take(info.Config, now)
}

// siteOf is the site whose stream that is: out-SITE-x.
func siteOf(stream string) string {
	stream = strings.TrimPrefix(stream, outPrefix)
	if i := strings.LastIndexByte(stream, '-'); i >= 0 {
		return stream[:i]
	}
	return stream
}

// take has the stream take in what the sites have, and begins again with those
// that are heard and yet bring nothing.
func (h *Hub) take(c jetstream.StreamConfig, how map[string]Source) error {
	want := map[string]string{} // site to stream
	fresh := map[string]bool{}
	now := time.Now()
	h.mu.Lock()
	for site := range h.sites {
		if x, ok := h.heard[site]; ok && strings.HasPrefix(x.Beat.Stream, outPrefix+site+"-") {
			want[site] = x.Beat.Stream
			fresh[site] = now.Sub(x.Heard) < fleet.Fresh
		}
	}
	admitted := maps.Clone(h.sites)
	h.mu.Unlock()

	var stay, again []*jetstream.StreamSource
	begin := func(site string, s *jetstream.StreamSource) {
		again = append(again, s)
		h.anew[site] = begun{now, min(anewMost, max(anewAfter, 2*h.anew[site].patient))}
	}
	for _, s := range c.Sources {
		site := siteOf(s.Name)
		stream, known := want[site]
		switch {
		case admitted[site] == "", known && stream != s.Name:
			continue // not ours any more, or the site has begun anew
		case fresh[site] && (how[site].Active < 0 || how[site].Active > stuck):
			if now.Sub(h.anew[site].at) > h.anew[site].patient {
				begin(site, s)
			} else {
				stay = append(stay, s)
			}
		default:
			delete(h.anew, site)
			stay = append(stay, s)
		}
		delete(want, site)
	}
	fallen := len(stay)+len(again) < len(c.Sources)
	for _, site := range slices.Sorted(maps.Keys(want)) {
		begin(site, &jetstream.StreamSource{Name: want[site], External: &jetstream.ExternalStream{APIPrefix: "$JS." + siteDomain(site) + ".API"}})
	}
	if len(again) == 0 && !fallen {
		return nil
	}
	// One change for all of them: for sources that it has nothing of yet the engine
	// looks through the whole stream, once a change. Out first, so that those made
	// anew are begun again.
	ctx, cancel := context.WithTimeout(h.run, startLimit)
	defer cancel()
	if len(stay) < len(c.Sources) {
		c.Sources = stay
		if _, err := h.js.UpdateStream(ctx, c); err != nil {
			return fmt.Errorf("sources out: %w", err)
		}
	}
	if len(again) > 0 {
		c.Sources = append(slices.Clone(stay), again...)
		if _, err := h.js.UpdateStream(ctx, c); err != nil {
			return fmt.Errorf("sources in: %w", err)
		}
	}
	return nil
}

// lookAgain follows changes of who may join.
func (h *Hub) lookAgain(seen []byte) {
	t := time.NewTicker(manageEach)
	defer t.Stop()
	for {
		select {
		case <-h.run.Done():
			return
		case <-t.C:
		}
		data, err := os.ReadFile(h.opt.File)
		if err != nil || slices.Equal(data, seen) {
			continue
		}
		seen = data
		s, err := ReadSettings(h.opt.File, data)
		if err != nil {
			h.log.Error("the hub's file has changed and cannot be read; who may join stays as it was", "err", err)
			continue
		}
		if !reflect.DeepEqual(s.Nodes, h.settings.Nodes) || s.Keep != h.settings.Keep {
			h.log.Warn("of the hub's file only the sites are taken up while it runs; the rest is at the next start")
		}
		if err := h.admit(s.keys()); err != nil {
			h.log.Error("who may join cannot be changed", "err", err)
		}
	}
}

// admit says who may join from now on; others are put out.
func (h *Hub) admit(sites map[string]string) error {
	h.mu.Lock()
	out := false
	for site, key := range h.sites {
		out = out || sites[site] != key
	}
	h.sites = sites
	for site := range h.heard {
		if sites[site] == "" {
			delete(h.heard, site)
		}
	}
	h.mu.Unlock()
	if err := h.server.ReloadOptions(h.options()); err != nil || !out {
		return err
	}
	// The engine leaves those in who are there. Sent away, all come back within a
	// second or two but who may no more.
	l, err := h.server.Leafz(nil)
	if err != nil {
		return err
	}
	for _, leaf := range l.Leafs {
		if err := h.server.DisconnectClientByID(leaf.ID); err != nil {
			h.log.Debug("it has gone already", "err", err)
		}
	}
	return nil
}

// Close stops the node.
func (h *Hub) Close() error {
	h.stop()
	h.tasks.Wait()
	if h.nc != nil {
		h.nc.Close()
	}
	if h.server != nil {
		h.server.Shutdown()
		h.server.WaitForShutdown()
	}
	return nil
}
