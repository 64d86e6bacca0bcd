// Package bus is the message server of a site: gateways publish readings to
// it over MQTT, whatever else is heard is put into it, and events are.
//
// It is a NATS server in this process, or one outside. A message goes two
// ways that do not wait for each other:
//
//   - The live way: Options.Live gets every message as it came off the socket,
//     before the engine has it and before any disk (front). The alarms hang off
//     it. Of a server outside, and of QoS 2, it gets what that server delivers.
//   - The durable way: the message is stored in the stream of readings, synced
//     to disk, then acknowledged to the gateway. Follow hands out what is
//     stored, in order, each message with its sequence, from whatever sequence
//     the caller has not got yet. A recording that keeps the last sequence
//     beside its data gets every message once, however often either side dies.
//
// # What an acknowledgement means
//
// MQTT with QoS 1 or 2: on disk (fsync) before the PUBACK or PUBCOMP. The
// stream of readings takes the place of the engine's own MQTT store, whose
// acknowledgement the PUBACK follows, so there is no second copy on the way
// that could be lost. A gateway that gets no PUBACK sends again, so one message
// may be stored twice, under two sequences: a payload that has a time or a
// count lets it be told apart, a plain number does not.
//
// QoS 0, which Sparkplug B prescribes, has no acknowledgement: it is stored
// right after it has gone the live way, and what was still on the way is lost
// when the process dies.
//
// With QoS 2 the live way waits for one write to disk, since MQTT delivers such
// a message only once the gateway has released it. Gateways that matter to an
// alarm use QoS 1 or 0.
//
// # When the disk is slow or full
//
// A gateway whose PUBACK does not come stops sending sooner or later, and then
// the crew would see nothing, for want of a disk. So a message that the disk has
// not taken within Options.Patience is acknowledged all the same and counted as
// unkept, until it is on disk after all; from then on the disk is not waited for
// before it has caught up. What cannot be queued is dropped and counted too.
// Health tells; whoever records marks the recording as incomplete. A stream that
// met a write error takes nothing until the bus is opened again.
package bus

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"plumbhook/fault"
	"plumbhook/reading"
)

// Message is one message as it came, or as it is stored.
type Message struct {
	Gateway string // whose it is: the MQTT user, or the source it was put under
	Topic   string // of MQTT; for others what Put was given
	Payload []byte // not to be changed
	// Arrived is the time by this machine's clock: on the live way and for
	// whatever was put, that of arrival; for a stored MQTT message of QoS 1 or
	// 2 that of storing, which is later by what the disk had before it.
	Arrived reading.Stamp
	// Sequence counts the messages of a stream from 1 without a gap; a jump
	// is what retention has taken. It is 0 on the live way.
	Sequence uint64
}

// Gateway is one that may connect over MQTT, with its name as user.
type Gateway struct {
	Name     string // letters, digits, . _ -
	Password string // as it is, or its bcrypt hash ($2a$...)
}

// Retention bounds a stream: the oldest messages go first.
type Retention struct {
	Bytes int64
	Age   time.Duration
}

// External is a NATS server outside, version 2.10 or newer with JetStream. Its
// operator sets up users, MQTT and the syncing of its disk.
type External struct {
	URL            string
	User, Password string
	Credentials    string // path of a credentials file, instead of user and password
}

// Options are what Open needs. The zero value of a field means its default.
type Options struct {
	Dir string // data folder; the streams are in its subfolder bus
	// Listen is the MQTT address, default 127.0.0.1:1883; port 0 is any free
	// one. Without TLS, passwords cross a network that anyone on it can read.
	Listen   string
	TLS      *tls.Config // of the MQTT listener, default none
	Gateways []Gateway
	External *External // instead of the server in this process
	// Readings are bounded by default to 512 MiB and 90 days, Events to 256 MiB
	// and 3 years. After a crash the engine reads all of both before it lets
	// anyone in, some 3 s for a GiB of small messages: what is to be kept for
	// long belongs into a recording.
	Readings, Events Retention
	Patience         time.Duration // how long an acknowledgement waits for the disk, default 1 s
	// Live gets every reading as it arrives, one at a time, in the order of
	// arrival per gateway. It must be quick: the gateways wait for it.
	Live func(Message)
	Log  *slog.Logger // default: none
}

// Stream names one of the two streams.
type Stream string

// Readings are raw payloads of gateways and other sources; Events are what
// the program said.
const (
	Readings Stream = "readings"
	Events   Stream = "events"
)

// Subjects inside the engine: what the MQTT listener stores, and whose reply it
// awaits before it acknowledges; what we put; what happened.
const (
	mqttStored = "$MQTT.msgs."
	mqttReply  = "$MQTT.JSA.*.MS.*"
	rawPrefix  = "raw."
	evPrefix   = "events."
)

// Bus is an open message server.
type Bus struct {
	opt       Options
	server    *server.Server // nil when external
	admin     string         // password of our own connections
	adminHash string         // what the engine has of it
	inside    string         // what the engine has after the name of a gateway, so that nobody comes past front
	engine    string         // where the engine listens for front
	front     *front         // nil when external
	log       *slog.Logger

	// Three connections, so that nothing queues behind bulk: live carries what
	// front does not hand on and commands, acks the acknowledgements of the disk, work the rest.
	live, acks, work *nats.Conn
	handing          sync.Mutex // Live is called once at a time
	js               jetstream.JetStream
	liveSubs         []*nats.Subscription
	queue            chan *nats.Msg // to be stored, nobody waits
	born             map[Stream]reading.Stamp

	run   context.Context // until Close
	stop  context.CancelFunc
	tasks sync.WaitGroup

	disk      disk
	followers followers
	said      said
	admitted  admitted
}

const (
	liveQueue  = 1 << 16
	keepQueue  = 1 << 13
	keepFlight = 256 // puts on their way to the disk at once
	startLimit = 30 * time.Second
)

// Open starts the server, or connects to the one outside, makes the streams,
// and only then lets gateways in. The context bounds the opening alone.
func Open(ctx context.Context, opt Options) (_ *Bus, err error) {
	opt.defaults()
	if err := opt.check(); err != nil {
		return nil, err
	}
	b := &Bus{opt: opt, log: opt.Log, queue: make(chan *nats.Msg, keepQueue)}
	b.run, b.stop = context.WithCancel(context.Background())
	defer func() {
		if err != nil {
			b.Close()
		}
	}()
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()

	if opt.External == nil {
		if err := b.startServer(); err != nil {
			return nil, err
		}
	}
	for _, c := range []struct {
		to   **nats.Conn
		name string
	}{{&b.live, "live"}, {&b.acks, "acks"}, {&b.work, "work"}} {
		if *c.to, err = b.connect(c.name); err != nil {
			return nil, err
		}
	}
	if b.js, err = jetstream.New(b.work, jetstream.WithPublishAsyncTimeout(time.Minute)); err != nil {
		return nil, err
	}
	if err := b.makeStreams(ctx); err != nil {
		return nil, fault.New(fault.Path, "the message server cannot make its streams").Because(err).
			Fix("look after the free space and the rights of the data folder")
	}
	for _, start := range []func() error{b.startLive, b.startDisk, b.startQueue} {
		if err := start(); err != nil {
			return nil, err
		}
	}
	if err := b.Admit(opt.Gateways); err != nil {
		return nil, err
	}
	if b.front != nil {
		if err := b.startFront(); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func (o *Options) defaults() {
	or := func(v *int64, d int64) {
		if *v == 0 {
			*v = d
		}
	}
	const day = 24 * time.Hour
	or(&o.Readings.Bytes, 512<<20)
	or((*int64)(&o.Readings.Age), int64(90*day))
	or(&o.Events.Bytes, 256<<20)
	or((*int64)(&o.Events.Age), int64(3*365*day))
	or((*int64)(&o.Patience), int64(time.Second))
	if o.Listen == "" {
		o.Listen = "127.0.0.1:1883"
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
}

func (o *Options) check() error {
	if o.External == nil && o.Dir == "" {
		return fault.New(fault.Missing, "the message server has no data folder")
	}
	if o.External == nil {
		host, port, err := net.SplitHostPort(o.Listen)
		var p int
		if err == nil {
			p, err = strconv.Atoi(port)
		}
		if err != nil || host == "" || p < 0 || p > 65535 {
			return fault.New(fault.Syntax, "%q is no address to listen on", o.Listen).
				Fix("write host and port: 127.0.0.1:1883 for this machine only, 0.0.0.0:1883 for its network")
		}
	}
	if o.Readings.Bytes < 0 || o.Events.Bytes < 0 || o.Readings.Age < 0 || o.Events.Age < 0 {
		return fault.New(fault.Range, "a stream cannot be bounded by a negative size or age")
	}
	return checkGateways(o.Gateways)
}

func checkGateways(gateways []Gateway) error {
	seen := map[string]bool{}
	var faults fault.List
	for _, g := range gateways {
		switch {
		case !gatewayName.MatchString(g.Name):
			faults = append(faults, fault.New(fault.Syntax, "a gateway cannot be called %q", g.Name).
				Fix("use letters, digits, dot, hyphen and underscore"))
		case seen[g.Name]:
			faults = append(faults, fault.New(fault.Duplicate, "the gateway is listed twice").In(g.Name))
		case g.Password == "":
			faults = append(faults, fault.New(fault.Missing, "the gateway has no password").In(g.Name).
				Fix("give each gateway a password of its own"))
		}
		seen[g.Name] = true
	}
	return faults.Err()
}

func (b *Bus) connect(name string) (*nats.Conn, error) {
	o := []nats.Option{
		nats.Name("plumbhook " + name), nats.MaxReconnects(-1), nats.ReconnectWait(time.Second),
		nats.NoEcho(), nats.ErrorHandler(b.asyncError),
	}
	url := ""
	if e := b.opt.External; e == nil {
		o = append(o, nats.InProcessServer(b.server), nats.UserInfo(adminUser, b.admin))
	} else {
		url = e.URL
		if e.Credentials != "" {
			o = append(o, nats.UserCredentials(e.Credentials))
		} else if e.User != "" {
			o = append(o, nats.UserInfo(e.User, e.Password))
		}
	}
	nc, err := nats.Connect(url, o...)
	if err != nil {
		f := fault.New(fault.Path, "the message server does not let us in").Because(err)
		if b.opt.External != nil {
			f = f.In(url).Fix("check its address, that it runs, and the user or credentials")
		}
		return nil, f
	}
	return nc, nil
}

// asyncError hears what goes wrong on a connection apart from any call. A full
// queue of the live way is the one that costs readings.
func (b *Bus) asyncError(_ *nats.Conn, sub *nats.Subscription, err error) {
	if errors.Is(err, nats.ErrSlowConsumer) && sub != nil {
		if n, _ := sub.Dropped(); n > 0 {
			b.log.Error("readings dropped from the live way", "subject", sub.Subject, "dropped", n)
		}
		return
	}
	b.log.Warn("message server", "error", err)
}

// makeStreams makes, or brings up to date, the streams and what the MQTT
// listener needs. The readings take in what it stores, in the place of its own
// store, to which only commands are left. Its books about sessions and retained
// messages are in memory: gateways only publish, and a full disk must not keep
// one from connecting.
func (b *Bus) makeStreams(ctx context.Context) error {
	sp, _ := subjectOf(sparkplug)
	readings := []string{rawPrefix + ">", mqttStored + tele + ".>"}
	for _, t := range append(append([]string{}, nodeReadings...), deviceReadings...) {
		readings = append(readings, mqttStored+sp+".*."+t+".>")
	}
	commands := []string{mqttStored + sp + ".*.NCMD.>", mqttStored + sp + ".*.DCMD.>", mqttStored + sp + ".STATE.*"}
	memory := func(name string, perSubject int64, retention jetstream.RetentionPolicy, subjects ...string) jetstream.StreamConfig {
		return jetstream.StreamConfig{
			Name: name, Subjects: subjects, Storage: jetstream.MemoryStorage, Retention: retention,
			MaxMsgsPerSubject: perSubject, MaxBytes: 8 << 20, Replicas: 1,
		}
	}
	for _, c := range []jetstream.StreamConfig{
		memory("$MQTT_msgs", -1, jetstream.InterestPolicy, commands...),
		memory("$MQTT_out", -1, jetstream.InterestPolicy, "$MQTT.out.>"),
		memory("$MQTT_sess", 1, jetstream.LimitsPolicy, "$MQTT.sess.>"),
		memory("$MQTT_rmsgs", 1, jetstream.LimitsPolicy, "$MQTT.rmsgs.>"),
		{ // What was received of QoS 2 and not released yet.
			Name: "$MQTT_qos2in", Subjects: []string{"$MQTT.qos2.in.>"}, Storage: jetstream.FileStorage,
			Discard: jetstream.DiscardNew, MaxMsgsPerSubject: 1, DiscardNewPerSubject: true, Replicas: 1,
		},
	} {
		s, err := b.js.Stream(ctx, c.Name)
		switch {
		case errors.Is(err, jetstream.ErrStreamNotFound):
			_, err = b.js.CreateStream(ctx, c)
		case err == nil && c.Name == "$MQTT_msgs":
			// A server outside may have made its own already, which would
			// stand in the way of ours.
			old := s.CachedInfo().Config
			old.Subjects = c.Subjects
			_, err = b.js.UpdateStream(ctx, old)
		}
		if err != nil {
			return err
		}
	}
	b.born = map[Stream]reading.Stamp{}
	for name, c := range map[Stream]struct {
		subjects []string
		Retention
	}{
		Readings: {readings, b.opt.Readings},
		Events:   {[]string{evPrefix + ">"}, b.opt.Events},
	} {
		s, err := b.js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
			Name: string(name), Subjects: c.subjects, Storage: jetstream.FileStorage, Replicas: 1,
			Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardOld,
			MaxBytes: c.Bytes, MaxAge: c.Age, DenyDelete: true,
		})
		if err != nil {
			return err
		}
		b.born[name] = reading.At(s.CachedInfo().Created)
	}
	return nil
}

// Born tells when a stream was made. Sequences of streams born at different
// times have nothing to do with each other.
func (b *Bus) Born(s Stream) reading.Stamp { return b.born[s] }

// Close sends the gateways away, stores what is queued for as long as a
// second, then stops.
func (b *Bus) Close() error {
	if b.front != nil {
		b.front.close()
	}
	b.drain(time.Second)
	b.stop()
	b.tasks.Wait()
	for _, nc := range []*nats.Conn{b.live, b.acks, b.work} {
		if nc != nil {
			nc.Close()
		}
	}
	if b.server != nil {
		b.server.Shutdown()
		b.server.WaitForShutdown()
	}
	return nil
}

// folder is where the server in this process keeps its streams.
func (o *Options) folder() string { return filepath.Join(o.Dir, "bus") }

func now() reading.Stamp { return reading.At(time.Now()) }
