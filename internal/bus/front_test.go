package bus

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"golang.org/x/crypto/bcrypt"
	"pgregory.net/rapid"
)

// deaf is a front before an engine that lets everybody in with the right
// password and then takes nothing.
func deaf(t *testing.T, live func(Message)) *Bus {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { ln.Close() })
	go func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			go func() {
				p, err := readPacket(bufio.NewReader(c))
				if err != nil {
					return
				}
				word := []byte{kindConnack, 2, 0, 5}
				if bytes.Contains(p, []byte(pump.Password)) {
					word[3] = 0
				}
				c.Write(word)
			}()
		}
	}()
	b := &Bus{opt: Options{Listen: "127.0.0.1:0", Live: live}, engine: ln.Addr().String(), inside: "/x", queue: make(chan *nats.Msg, 9)}
	b.opt.defaults()
	b.front = &front{b: b, lines: map[*line]struct{}{}}
	b.front.admit([]Gateway{pump})
	b.admitted.set([]Gateway{pump})
	if err := b.startFront(); err != nil {
		t.Fatal(err)
	}
	return b
}

func helloOf(g Gateway) packet {
	return hello{flags: hasUser | hasPass | 2, id: "a", user: g.Name, pass: g.Password}.packet("")
}

// TestLiveWaitsForNothing: an engine that takes nothing keeps nothing from the
// live way.
func TestLiveWaitsForNothing(t *testing.T) {
	live := &box{}
	b := deaf(t, live.put)
	c := wire(t, b.front.ln.Addr().String(), pump)
	large := bytes.Repeat([]byte("x"), 100_000)
	const n = 50 // more than sockets hold
	go func() {
		for i := range n {
			c.Write(publish("tele/pump-house/west", uint16(i+1), large))
		}
	}()
	live.until(t, n)
}

// TestNotBeforeTheWord: what a gateway sends right behind its CONNECT is heard
// if the engine lets it in, and else not at all.
func TestNotBeforeTheWord(t *testing.T) {
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put})
	rush := func(g Gateway) net.Conn {
		c, err := net.Dial("tcp", b.Address())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		if _, err := c.Write(append(helloOf(g), publish("tele/pump-house/west", 1, []byte(g.Password))...)); err != nil {
			t.Fatal(err)
		}
		return c
	}
	refused := rush(Gateway{pump.Name, "wrong"})
	if _, err := io.Copy(io.Discard, refused); err != nil && !strings.Contains(err.Error(), "reset") {
		t.Fatal(err)
	}
	rush(pump)
	if m := live.until(t, 1)[0]; string(m.Payload) != pump.Password {
		t.Errorf("heard %q", m.Payload)
	}
	eventually(t, "one message to be stored", func() bool { return b.Health(t.Context()).Last == 1 })
	if len(live.all()) != 1 {
		t.Errorf("heard %v", live.all())
	}
}

// TestPutOut: once Admit has said that a gateway or its password is good no
// more, nothing of it is heard, though it may be on its way already. Who cannot
// come in knows no way past front either.
func TestPutOut(t *testing.T) {
	for name, now := range map[string][]Gateway{"gone": nil, "another password": {{pump.Name, "new"}}} {
		t.Run(name, func(t *testing.T) {
			entered, leave := make(chan bool), make(chan bool)
			live := &box{}
			b := deaf(t, func(m Message) {
				live.put(m)
				entered <- true
				<-leave
			})
			c := wire(t, b.front.ln.Addr().String(), pump)
			p := publish("tele/pump-house/west", 1, []byte("first"))
			if _, err := c.Write(append(p, publish("tele/pump-house/west", 2, []byte("second"))...)); err != nil {
				t.Fatal(err)
			}
			<-entered // the second is read with the first
			done := make(chan bool)
			go func() { b.front.admit(now); close(done) }()
			leave <- true
			select {
			case <-entered: // the second came before
				leave <- true
			case <-done:
			}
			<-done
			heard := len(live.all())
			io.Copy(io.Discard, c)
			eventually(t, "the connection to end", func() bool {
				b.front.mu.Lock()
				defer b.front.mu.Unlock()
				for l := range b.front.lines {
					l.mu.Lock()
					defer l.mu.Unlock()
					if !l.ended {
						return false
					}
				}
				return true
			})
			if n := len(live.all()); n != heard {
				t.Errorf("%d heard after Admit", n-heard)
			}
		})
	}
	b := open(t, Options{Gateways: []Gateway{pump}})
	c, err := net.Dial("tcp", b.engine)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.Write(helloOf(pump))
	var word [4]byte
	if _, err := io.ReadFull(c, word[:]); err != nil || word[3] == 0 {
		t.Errorf("the engine let a gateway in without front: % x, %v", word, err)
	}
}

// TestWill: who falls silent without having parted has his will done, live and
// stored, after all he sent; who parts has not.
func TestWill(t *testing.T) {
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put})
	kept := follow(t, b, Readings, Place{})
	for i, ending := range [][]byte{nil, {kindDisconnect, 0}} {
		c, err := net.Dial("tcp", b.Address())
		if err != nil {
			t.Fatal(err)
		}
		// A CONNECT with a will, which only hello.packet leaves out.
		body := append([]byte(protocol), hasUser|hasPass|2|hasWill|8, 0, 0)
		for _, s := range []string{"a", "tele/pump-house/gone", fmt.Sprint("gone ", i), pump.Name, pump.Password} {
			body = append(append(body, 0, byte(len(s))), s...)
		}
		c.Write(append([]byte{kindConnect, byte(len(body))}, body...))
		c.Write(publish("tele/pump-house/west", 1, fmt.Append(nil, "last ", i)))
		var acks [8]byte // CONNACK, PUBACK
		if _, err := io.ReadFull(c, acks[:]); err != nil {
			t.Fatal(err)
		}
		c.Write(ending)
		c.Close()
		eventually(t, "the gateway to be gone", func() bool {
			b.front.mu.Lock()
			defer b.front.mu.Unlock()
			return len(b.front.lines) == 0
		})
	}
	for way, got := range map[string][]Message{"live": live.until(t, 3), "kept": kept.until(t, 3)} {
		var all []string
		for _, m := range got {
			all = append(all, string(m.Payload))
		}
		if s := strings.Join(all, ", "); s != "last 0, gone 0, last 1" {
			t.Errorf("%s: %s", way, s)
		}
	}
}

// TestTooLarge: what is too large is refused aloud.
func TestTooLarge(t *testing.T) {
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put})
	c := wire(t, b.Address(), pump)
	if _, err := c.Write(publish("tele/pump-house/w", 1, make([]byte, mostPayload))); err != nil {
		t.Fatal(err)
	}
	live.until(t, 1)
	eventually(t, "the largest to be stored", func() bool { return b.Health(t.Context()).Last == 1 })
	c.Write(publish("tele/pump-house/w", 2, make([]byte, mostPayload+1)))
	io.Copy(io.Discard, c)
	if h := b.Health(t.Context()); h.Refused != 1 || !strings.Contains(h.LastRefused, pump.Name) || len(live.all()) != 1 {
		t.Errorf("refused %d (%s), heard %d", h.Refused, h.LastRefused, len(live.all()))
	}
}

// TestTLS: the passwords of gateways can cross the network in secret.
func TestTLS(t *testing.T) {
	https := httptest.NewTLSServer(nil) // for its certificate
	defer https.Close()
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put, TLS: &tls.Config{Certificates: https.TLS.Certificates}})
	roots := x509.NewCertPool()
	roots.AddCert(https.Certificate())
	o := options(b.Address(), pump.Name, pump.Password)
	o.Servers = nil
	o.AddBroker("ssl://" + b.Address()).SetTLSConfig(&tls.Config{RootCAs: roots, ServerName: "example.com"})
	send(t, join(t, o), "tele/pump-house/west", 1, "1")
	live.until(t, 1)
}

// TestMayPublish holds what front allows against what the engine does.
func TestMayPublish(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := rapid.SampledFrom([]string{"tele", "spBv1.0", "NDATA", "DDATA", "NCMD", "a", "a.b", "", "x"})
		topic := strings.Join(rapid.SliceOfN(level, 1, 6).Draw(t, "topic"), "/")
		gateway := rapid.SampledFrom([]string{"a", "a.b", "x"}).Draw(t, "gateway")
		subject, err := subjectOf(topic)
		if err != nil {
			t.Skip()
		}
		want := false
		publish, _ := rights(gateway)
		for _, p := range publish {
			want = want || server.SubjectsCollide(p, subject)
		}
		if got := mayPublish(gateway, topic); got != want {
			t.Fatalf("%s to %q: front says %v, the engine %v", gateway, topic, got, want)
		}
	})
}

// FuzzPacket: whatever comes, nothing breaks; what is read as a CONNECT is the
// same for the engine but for the will.
func FuzzPacket(f *testing.F) {
	f.Add([]byte(helloOf(pump)))
	f.Add(publish("tele/pump-house/west", 7, []byte("12.5 kN")))
	f.Add([]byte{kindPubrel | 2, 2, 0, 1})
	f.Add([]byte{kindPublish, 0x80, 0x80, 0x80, 0x80, 1})
	f.Fuzz(func(t *testing.T, raw []byte) {
		p, err := readPacket(bufio.NewReader(bytes.NewReader(raw)))
		if !bytes.HasPrefix(raw, p) && len(raw) > 0 {
			t.Fatalf("read % x of % x", p, raw)
		}
		if err != nil {
			return
		}
		p.check()
		if p[0]&kindMask == kindPublish {
			if m, _, err := p.message(); err == nil && !bytes.HasSuffix(p, m.Payload) {
				t.Fatalf("payload % x of % x", m.Payload, p)
			}
		}
		if h, ok := parseHello(p); ok {
			again, ok := parseHello(h.packet(""))
			h.flags, h.will = h.flags&^(hasWill|willQoS|willRetain), nil
			if !ok || again != h {
				t.Fatalf("%+v, then %+v", h, again)
			}
		}
	})
}

// TestNoSecretIsSaid: neither the log nor Health holds a password, a hash or
// the names inside, and the engine has no password in plain text to warn of.
func TestNoSecretIsSaid(t *testing.T) {
	hash, err := bcrypt.GenerateFromPassword([]byte(pump.Password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var log bytes.Buffer
	b := open(t, Options{
		Gateways: []Gateway{{pump.Name, string(hash)}},
		Log: slog.New(slog.NewTextHandler(writer(func(p []byte) (int, error) {
			mu.Lock()
			defer mu.Unlock()
			return log.Write(p)
		}), &slog.HandlerOptions{Level: slog.LevelDebug})),
	})
	c := join(t, options(b.Address(), pump.Name, pump.Password))
	send(t, c, "tele/other/west", 1, "denied")
	for _, wrong := range []Gateway{{pump.Name, "a wrong one"}, {"nobody", "a wrong one"}, {pump.Name + b.inside, pump.Password}} {
		refused := mqtt.NewClient(options(b.Address(), wrong.Name, wrong.Password).SetClientID("x"))
		if tok := refused.Connect(); !tok.WaitTimeout(wait5) || tok.Error() == nil {
			t.Errorf("%s got in", wrong.Name)
		}
	}
	eventually(t, "the refusals", func() bool { return b.Health(t.Context()).Refused >= 2 })
	h := b.Health(t.Context())
	mu.Lock()
	text := log.String() + fmt.Sprintf("%+v", h)
	mu.Unlock()
	if !strings.Contains(text, "authentication error") || !strings.Contains(text, "Publish Violation") {
		t.Errorf("the log does not say what was refused: %s", text)
	}
	for _, secret := range []string{pump.Password, "a wrong one", string(hash), b.admin, b.adminHash, b.inside, "Plaintext"} {
		if strings.Contains(text, secret) {
			t.Errorf("%q is said in %s", secret, text)
		}
	}
}

type writer func([]byte) (int, error)

func (w writer) Write(p []byte) (int, error) { return w(p) }
