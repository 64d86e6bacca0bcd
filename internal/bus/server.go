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
	"golang.org/x/crypto/bcrypt"

	"plumbhook/fault"
)

// adminUser is ourselves; no gateway can have the name.
const adminUser = "$plumbhook"

// startServer starts the engine with nobody but ourselves admitted.
func (b *Bus) startServer() error {
	b.admin, b.inside = rand.Text(), "/"+rand.Text()
	// Made anew at every start and as long as a key, so the cheapest hash does.
	hash, err := bcrypt.GenerateFromPassword([]byte(b.admin), bcrypt.MinCost)
	if err != nil {
		return err
	}
	b.adminHash = string(hash)
	s, err := server.NewServer(b.serverOptions(nil))
	if err != nil {
		return fault.New(fault.Internal, "the message server refuses its settings").Because(err)
	}
	b.server = s
	b.front = &front{b: b, lines: map[*line]struct{}{}}
	s.SetLoggerV2(&logger{b}, false, false, false)
	s.Start()
	for end := time.Now().Add(startLimit); !s.ReadyForConnections(50 * time.Millisecond); {
		if err := b.said.fatal(); err != nil || time.Now().After(end) {
			return fault.New(fault.Path, "the message server does not start").In(b.opt.Dir).Because(err).
				Fix("check that no other Plumbhook uses the data folder")
		}
	}
	v, err := s.Varz(nil)
	if err != nil {
		return fault.New(fault.Internal, "the message server does not say where it listens").Because(err)
	}
	b.engine = net.JoinHostPort("127.0.0.1", strconv.Itoa(v.MQTT.Port))
	return nil
}

func (b *Bus) serverOptions(gateways []Gateway) *server.Options {
	o := &server.Options{
		ServerName: "plumbhook", DontListen: true, NoSigs: true,
		JetStream: true, StoreDir: b.opt.folder(), SyncAlways: true,
		JetStreamMaxMemory: 256 << 20,
		MaxPayload:         mostPacket + 1<<10, // headers too
		// The streams have their own bounds. This one would refuse messages
		// before the disk does.
		JetStreamMaxStore: 1 << 50,
		MaxClosedClients:  1000,
		MQTT: server.MQTTOpts{
			Host: "127.0.0.1", Port: server.RANDOM_PORT,
			// A connection is closed when an acknowledgement takes this long.
			JSAPITimeout: 30 * time.Second,
		},
		Users: []*server.User{{
			Username: adminUser, Password: b.adminHash,
			AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeInProcess: {}},
		}},
	}
	for _, g := range gateways {
		publish, subscribe := rights(g.Name)
		o.Users = append(o.Users, &server.User{
			Username: g.Name + b.inside, Password: g.Password,
			AllowedConnectionTypes: map[string]struct{}{jwt.ConnectionTypeMqtt: {}},
			Permissions: &server.Permissions{
				Publish:   &server.SubjectPermission{Allow: publish},
				Subscribe: &server.SubjectPermission{Allow: subscribe},
			},
		})
	}
	return o
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
	b.front.admit(gateways)
	if err := b.server.ReloadOptions(b.serverOptions(gateways)); err != nil {
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
	return b.front.ln.Addr().String()
}

// logger passes on what the engine says, and picks out what Health must show
// and the engine tells nowhere else.
type logger struct{ b *Bus }

func (l *logger) say(level slog.Level, format string, v []any) {
	text := l.b.front.real(fmt.Sprintf(format, v...))
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
