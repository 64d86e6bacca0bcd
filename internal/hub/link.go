package hub

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
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
	"plumbhook/logbook"
	"plumbhook/record"
)

// LinkOptions are what Join needs.
type LinkOptions struct {
	Dir     string // data folder; the stream is in its subfolder link
	Joining *Joining
	Version string // of the program
	// Beat fills in what the site has on the watch; nil: nothing ever is.
	Beat func() *fleet.OnWatch
	// Bytes and Age bound what waits for the hub, default 8 GiB and 90 days.
	Bytes int64
	Age   time.Duration
	Log   *slog.Logger // default: none
}

// Link is a site's end of the line to its hub.
type Link struct {
	opt    LinkOptions
	site   string
	stream string
	start  string // this start of the program
	server *server.Server
	nc     *nats.Conn
	js     jetstream.JetStream
	log    *slog.Logger

	run   context.Context
	stop  context.CancelFunc
	tasks sync.WaitGroup

	mu      sync.Mutex
	last    uint64            // messages in the stream
	carried map[string]uint64 // by watch, of those that are over
	since   time.Time
	up      bool
	refused string // why the hub does not let us in, in the engine's words
	trouble error  // why something is not carried
}

const (
	carryEvery = 50 * time.Millisecond
	mostPack   = 64 << 10 // bytes, of a message of a log
	leafRetry  = time.Second
)

// Join starts the link. It needs no hub to be there.
func Join(ctx context.Context, o LinkOptions) (_ *Link, err error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	o.Bytes, o.Age = cmp.Or(o.Bytes, 8<<30), cmp.Or(o.Age, 90*24*time.Hour)
	l := &Link{opt: o, site: o.Joining.Site, start: rand.Text()[:8], log: o.Log, since: time.Now()}
	l.run, l.stop = context.WithCancel(context.Background())
	defer func() {
		if err != nil {
			l.Close()
		}
	}()
	if err := l.startServer(); err != nil {
		return nil, err
	}
	l.carried = map[string]uint64{}
	if data, err := os.ReadFile(l.carriedFile()); err == nil {
		if err := json.Unmarshal(data, &l.carried); err != nil {
			return nil, fault.New(fault.Syntax, "what was carried to the hub cannot be read").In(l.carriedFile()).Because(err).Fix("remove the file: what the hub has is sent again, and it leaves it out")
		}
	}
	if err := l.makeStream(ctx); err != nil {
		return nil, fault.New(fault.Path, "what is to go to the hub cannot be kept").Because(err).Fix("look after the free space and the rights of the data folder")
	}
	l.tasks.Go(l.beat)
	return l, nil
}

func (l *Link) startServer() error {
	password := rand.Text()
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		return err
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(l.opt.Joining.Authority)
	remote := &server.RemoteLeafOpts{
		Nkey: l.opt.Joining.Seed, TLS: true, TLSTimeout: 10, DialTimeout: 5 * time.Second, FirstInfoTimeout: 10 * time.Second,
		TLSConfig: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS13},
	}
	for _, h := range l.opt.Joining.Hub {
		remote.URLs = append(remote.URLs, &url.URL{Scheme: "tls", Host: h})
	}
	s, err := server.NewServer(&server.Options{
		ServerName: "site-" + l.site, DontListen: true, NoSigs: true, MaxPayload: mostBytes + 64<<10,
		JetStream: true, JetStreamDomain: siteDomain(l.site), StoreDir: filepath.Join(l.opt.Dir, "link"), JetStreamMaxStore: 1 << 50,
		// A message that the hub has had must not be another one after a power
		// cut: sourcing goes by sequence.
		SyncAlways: true,
		Users: []*server.User{{
			Username: admin, Password: string(hash),
			AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeInProcess: {}},
		}},
		AuthTimeout: 10,
		LeafNode:    server.LeafNodeOpts{ReconnectInterval: leafRetry, Remotes: []*server.RemoteLeafOpts{remote}},
	})
	if err != nil {
		return fault.New(fault.Internal, "the link's message server refuses its settings").Because(err)
	}
	l.server = s
	t := &talk{log: l.log, run: l.run, who: "link", bad: l.heard}
	s.SetLoggerV2(t, false, false, false)
	s.Start()
	if !s.ReadyForConnections(startLimit) || t.dead() != nil {
		return fault.New(fault.Path, "the link's message server does not start").In(l.opt.Dir).Because(t.dead()).Fix("check that no other Plumbhook uses the data folder")
	}
	if l.nc, err = nats.Connect("", nats.InProcessServer(s), nats.UserInfo(admin, password), nats.Name("link"), nats.Timeout(startLimit), nats.MaxReconnects(-1),
		nats.CustomInboxPrefix(fleetWords+l.site+".inbox")); err != nil {
		return fault.New(fault.Internal, "the link's message server does not let us in").Because(err)
	}
	l.js, err = jetstream.New(l.nc, jetstream.WithDefaultTimeout(10*time.Second))
	return err
}

// heard picks out of what the server says why the hub does not let us in.
func (l *Link) heard(text string) {
	switch {
	case strings.Contains(text, "Authorization Violation"), strings.Contains(text, "authentication"):
		text = "the hub does not know this site's key, or not any more"
	case strings.Contains(text, "x509"), strings.Contains(text, "certificate"):
		text = "the hub's certificate is not of the authority that the site was given"
	default:
		return
	}
	l.mu.Lock()
	l.refused = text
	l.mu.Unlock()
}

func (l *Link) makeStream(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	names := l.js.StreamNames(ctx)
	for n := range names.Name() {
		if strings.HasPrefix(n, outPrefix+l.site+"-") {
			l.stream = n
		}
	}
	if err := names.Err(); err != nil {
		return err
	}
	if l.stream == "" {
		l.stream = outPrefix + l.site + "-" + strings.ToLower(rand.Text()[:8])
	}
	s, err := l.js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: l.stream, Subjects: []string{sitePrefix + l.site + ".>"}, Storage: jetstream.FileStorage, Replicas: 1,
		Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardOld, MaxBytes: l.opt.Bytes, MaxAge: l.opt.Age, DenyDelete: true,
	})
	if err == nil {
		l.last = s.CachedInfo().State.LastSeq
	}
	return err
}

// Birth is what tells this folder's link from one with another folder.
func (l *Link) Birth() string { return l.stream[strings.LastIndexByte(l.stream, '-')+1:] }

// beat tells the hub how the site stands.
func (l *Link) beat() {
	t := time.NewTicker(fleet.BeatEvery)
	defer t.Stop()
	for {
		up := l.server.NumLeafNodes() > 0
		l.mu.Lock()
		if up != l.up {
			l.up, l.since = up, time.Now()
		}
		if up {
			l.refused = ""
		}
		b := fleet.Beat{Site: l.site, Run: l.start, At: time.Now().UTC(), Version: l.opt.Version, Stream: l.stream, Last: l.last}
		l.mu.Unlock()
		if l.opt.Beat != nil {
			b.Watch = l.opt.Beat()
		}
		if data, err := json.Marshal(b); err == nil && up {
			_ = l.nc.Publish(fleetWords+l.site+".beat", data) // there is another in a second
		}
		select {
		case <-l.run.Done():
			return
		case <-t.C:
		}
	}
}

// Health is how the link does.
type Health struct {
	Up      bool
	Since   time.Time // up or down
	Refused string    // why the hub does not let us in
	Trouble error     // why something is not carried
	Stored  uint64    // messages for the hub, had by it or not
}

// Health tells it.
func (l *Link) Health() Health {
	l.mu.Lock()
	defer l.mu.Unlock()
	return Health{l.up, l.since, l.refused, l.trouble, l.last}
}

// Recording is what a link carries: a recording, or one that is over.
type Recording interface {
	// Safe is the number up to which entries are on disk and stay as they are.
	Safe() uint64
	// From gives the entries on disk from a number on.
	From(n uint64) iter.Seq2[*logbook.Entry, error]
}

// Carry sends a recording to the hub as it grows, until the context is done, and
// then what was recorded by then, for as long as a second.
func (l *Link) Carry(ctx context.Context, watch string, r Recording) {
	t := time.NewTicker(carryEvery)
	defer t.Stop()
	c := carrier{l: l, watch: watch}
	for {
		select {
		case <-ctx.Done():
			c.step(l.run, r, time.Now().Add(time.Second))
			l.over(watch, c.at)
			return
		case <-l.run.Done():
			return
		case <-t.C:
			c.step(ctx, r, time.Now().Add(time.Minute))
		}
	}
}

// Deliver sends what a recording that is over holds and the hub has not got.
func (l *Link) Deliver(ctx context.Context, watch string, r Recording) error {
	c := carrier{l: l, watch: watch}
	for c.at < r.Safe() || !c.known {
		before := c.at
		c.step(ctx, r, time.Now().Add(time.Hour))
		if err := l.Health().Trouble; err != nil {
			return err
		}
		if ctx.Err() != nil || c.known && c.at == before {
			break
		}
	}
	l.over(watch, c.at)
	return ctx.Err()
}

func (l *Link) carriedFile() string { return filepath.Join(l.opt.Dir, "link", "carried.json") }

// over notes how far a recording has been carried, for when the stream does not
// hold any of it any more.
func (l *Link) over(watch string, at uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if at <= l.carried[watch] {
		return
	}
	l.carried[watch] = at
	data, err := json.Marshal(l.carried)
	if err == nil {
		if err = os.WriteFile(l.carriedFile()+".part", data, 0o600); err == nil {
			err = os.Rename(l.carriedFile()+".part", l.carriedFile())
		}
	}
	if err != nil {
		l.log.Warn("how far a recording was carried is not noted", "watch", watch, "err", err)
	}
}

// carrier sends one recording.
type carrier struct {
	l     *Link
	watch string
	known bool   // at is what the stream says
	at    uint64 // the last entry that is in the stream
	pack  record.Packer
}

// step sends what is on disk by now. After an error the stream is asked anew
// how far it has got: whether the last message arrived is not known.
func (c *carrier) step(ctx context.Context, r Recording, until time.Time) {
	err := c.send(ctx, r, until)
	if err != nil {
		c.known = false
		c.pack = record.Packer{}
		if ctx.Err() == nil {
			c.l.log.Warn("a recording is not carried to the link's disk", "watch", c.watch, "err", err)
		}
	}
	c.l.mu.Lock()
	c.l.trouble = err
	c.l.mu.Unlock()
}

func (c *carrier) send(ctx context.Context, r Recording, until time.Time) error {
	if !c.known {
		at, err := c.l.place(ctx, c.watch)
		if err != nil {
			return err
		}
		c.at, c.known = at, true
	}
	safe := r.Safe()
	if safe <= c.at {
		return nil
	}
	for e, err := range r.From(c.at + 1) {
		if err != nil {
			if fault.Of(err)[0].Code == record.Damaged {
				continue // the hub sees it by the numbers
			}
			return err
		}
		if e.N > safe || time.Now().After(until) {
			break
		}
		if err := c.pack.Add(e); err != nil {
			return err
		}
		if c.pack.Len() >= mostPack {
			if err := c.flush(ctx); err != nil {
				return err
			}
		}
	}
	return c.flush(ctx)
}

func (c *carrier) flush(ctx context.Context) error {
	if c.pack.Len() == 0 {
		return nil
	}
	data, _, last := c.pack.Take()
	m := nats.NewMsg(logSubject(c.l.site, c.watch))
	m.Data = data
	m.Header.Set(entriesHeader, fmt.Sprintf("%d-%d", c.at+1, last))
	if err := c.l.put(ctx, m); err != nil {
		return err
	}
	c.at = last
	return nil
}

// place is the last entry of a watch that is in the link's stream.
func (l *Link) place(ctx context.Context, watch string) (uint64, error) {
	s, err := l.js.Stream(ctx, l.stream)
	if err != nil {
		return 0, err
	}
	m, err := s.GetLastMsgForSubject(ctx, logSubject(l.site, watch))
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		l.mu.Lock()
		defer l.mu.Unlock()
		return l.carried[watch], nil
	}
	if err != nil {
		return 0, err
	}
	var from, to uint64
	if _, err := fmt.Sscanf(m.Header.Get(entriesHeader), "%d-%d", &from, &to); err != nil {
		return 0, fault.New(fault.Internal, "message %d of the link cannot be read", m.Sequence).Because(err)
	}
	return to, nil
}

// Send has the hub told of a document as it stands now, unless it was told the
// same last.
func (l *Link) Send(ctx context.Context, kind fleet.Kind, id string, body []byte) error {
	subject := docSubject(l.site, kind, id)
	s, err := l.js.Stream(ctx, l.stream)
	if err != nil {
		return err
	}
	switch was, err := s.GetLastMsgForSubject(ctx, subject); {
	case err == nil && string(was.Data) == string(body):
		return nil
	case err != nil && !errors.Is(err, jetstream.ErrMsgNotFound):
		return err
	}
	m := nats.NewMsg(subject)
	m.Data = body
	m.Header.Set(sentHeader, time.Now().UTC().Format(time.RFC3339Nano))
	return l.put(ctx, m)
}

func (l *Link) put(ctx context.Context, m *nats.Msg) error {
	ack, err := l.js.PublishMsg(ctx, m, jetstream.WithRetryAttempts(0))
	if err != nil {
		return fault.New(fault.Path, "what is to go to the hub is not stored").Because(err).Fix("look after the disk: is it full, or slow?")
	}
	l.mu.Lock()
	l.last = max(l.last, ack.Sequence)
	l.mu.Unlock()
	return nil
}

// Close ends the link.
func (l *Link) Close() error {
	l.stop()
	l.tasks.Wait()
	if l.nc != nil {
		l.nc.Close()
	}
	if l.server != nil {
		l.server.Shutdown()
		l.server.WaitForShutdown()
	}
	return nil
}

// Finished is a recording that is over, as it lies in its folder.
type Finished struct {
	*record.Reader
	last uint64
}

// Safe is the number of its last entry.
func (f Finished) Safe() uint64 { return f.last }

// OpenFinished looks at a recording that nobody writes.
func OpenFinished(dir string) (Finished, error) {
	r, err := record.NewReader(dir)
	if err != nil {
		return Finished{}, err
	}
	segments, err := r.Segments()
	if err != nil || len(segments) == 0 {
		return Finished{r, 0}, err
	}
	return Finished{r, segments[len(segments)-1].Last}, nil
}

// Growing is a recording that is being written.
type Growing struct{ *record.Recording }

// Safe is the number up to which it is on disk.
func (g Growing) Safe() uint64 { return g.Status().Safe }

// From gives what is on disk by now.
func (g Growing) From(n uint64) iter.Seq2[*logbook.Entry, error] { return g.Reader().From(n) }

var _, _ Recording = Finished{}, Growing{}
