package bus

import (
	"crypto/rand"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"

	"plumbhook/fault"
)

// adminUser is ourselves; no gateway can have the name.
const adminUser = "$plumbhook"

// startServer starts the engine with nobody but ourselves admitted.
func (b *Bus) startServer() error {
	b.admin = rand.Text()
	o, err := b.serverOptions(nil)
	if err != nil {
		return err
	}
	s, err := server.NewServer(o)
	if err != nil {
		return fault.New(fault.Internal, "the message server refuses its settings").Because(err)
	}
	b.server = s
	s.SetLoggerV2(&logger{b}, false, false, false)
	s.Start()
	for end := time.Now().Add(startLimit); !s.ReadyForConnections(50 * time.Millisecond); {
		if err := b.said.fatal(); err != nil || time.Now().After(end) {
			return fault.New(fault.Path, "the message server does not start").In(b.opt.Listen).Because(err).
				Fix("check that the address is of this machine and free, and that no other Plumbhook uses the data folder")
		}
	}
	return nil
}

func (b *Bus) serverOptions(gateways []Gateway) (*server.Options, error) {
	host, port, err := net.SplitHostPort(b.opt.Listen)
	var p int
	if err == nil {
		p, err = strconv.Atoi(port)
	}
	if err != nil || host == "" || p < 0 || p > 65535 {
		return nil, fault.New(fault.Syntax, "%q is no address to listen on", b.opt.Listen).
			Fix("write host and port: 127.0.0.1:1883 for this machine only, 0.0.0.0:1883 for its network")
	}
	if p == 0 {
		p = server.RANDOM_PORT
	}
	o := &server.Options{
		ServerName: "plumbhook", DontListen: true, NoSigs: true,
		JetStream: true, StoreDir: b.opt.folder(), SyncAlways: true,
		JetStreamMaxMemory: 256 << 20,
		// The streams have their own bounds. This one would refuse messages
		// before the disk does.
		JetStreamMaxStore: 1 << 50,
		MaxClosedClients:  1000,
		MQTT: server.MQTTOpts{
			Host: host, Port: p, TLSConfig: b.opt.TLS,
			// A connection is closed when an acknowledgement takes this long.
			JSAPITimeout: 30 * time.Second,
		},
		Users: []*server.User{{
			Username: adminUser, Password: b.admin,
			AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeInProcess: {}},
		}},
	}
	for _, g := range gateways {
		publish, subscribe := rights(g.Name)
		o.Users = append(o.Users, &server.User{
			Username: g.Name, Password: g.Password,
			AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeMqtt: {}},
			Permissions: &server.Permissions{
				Publish:   &server.SubjectPermission{Allow: publish},
				Subscribe: &server.SubjectPermission{Allow: subscribe},
			},
		})
	}
	return o, nil
}

// Admit says which gateways may connect from now on. One that is not listed
// any more, or has another password, is disconnected. Each may publish below
// tele/NAME and, in Sparkplug B, as the edge node NAME of any group; it may
// subscribe to the commands meant for it, and to nothing else.
func (b *Bus) Admit(gateways []Gateway) error {
	if err := checkGateways(gateways); err != nil {
		return err
	}
	if b.server == nil {
		if len(gateways) == 0 {
			return nil
		}
		return fault.New(fault.Unsupported, "the gateways of a message server outside are admitted there").
			Fix("make a user for each in its configuration")
	}
	o, err := b.serverOptions(gateways)
	if err != nil {
		return err
	}
	if err := b.server.ReloadOptions(o); err != nil {
		return fault.New(fault.Internal, "the message server refuses its gateways").Because(err)
	}
	b.admitted.set(gateways)
	return nil
}

// Address is where MQTT is listened on; empty for a server outside.
func (b *Bus) Address() string {
	if b.server == nil {
		return ""
	}
	host, _, _ := net.SplitHostPort(b.opt.Listen)
	v, err := b.server.Varz(nil)
	if err != nil {
		return ""
	}
	return net.JoinHostPort(host, strconv.Itoa(v.MQTT.Port))
}

// logger passes on what the engine says, and picks out what Health must show
// and the engine tells nowhere else.
type logger struct{ b *Bus }

func (l *logger) say(level slog.Level, format string, v []any) {
	text := fmt.Sprintf(format, v...)
	l.b.said.note(text, level)
	l.b.log.Log(l.b.run, level, text, "from", "message server")
}

func (l *logger) Noticef(format string, v ...any) { l.say(slog.LevelInfo, format, v) }
func (l *logger) Warnf(format string, v ...any)   { l.say(slog.LevelWarn, format, v) }
func (l *logger) Errorf(format string, v ...any)  { l.say(slog.LevelError, format, v) }
func (l *logger) Fatalf(format string, v ...any) {
	l.b.said.die(fmt.Sprintf(format, v...))
	l.say(slog.LevelError, format, v)
}
func (l *logger) Debugf(format string, v ...any) { l.say(slog.LevelDebug, format, v) }
func (l *logger) Tracef(format string, v ...any) { l.say(slog.LevelDebug, format, v) }
