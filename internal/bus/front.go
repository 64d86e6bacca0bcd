package bus

import (
	"bufio"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"time"

	"plumbhook/fault"
)

// front is where gateways connect. It passes every packet on to the engine's
// own listener, which no gateway reaches otherwise, and hands what is published
// to the live way before the engine has it: an alarm waits neither for the
// engine nor for the disk behind it. The acknowledgement is the engine's, and
// follows the disk as it always did.
//
// Only what the engine will take is handed on. It decides who comes in: nothing
// of a connection is looked at before it has accepted it. From then on front is
// as strict as the engine, or stricter, about packets and topics.
//
// The last will of a gateway never reaches the engine. Front carries it out, so
// that all the engine hears of a gateway has passed here.
type front struct {
	b  *Bus
	ln net.Listener

	mu       sync.Mutex
	lines    map[*line]struct{}
	password map[string]string // of those admitted
	work     sync.WaitGroup
}

const (
	helloPatience = 10 * time.Second // for a connection to say who it is, and for the engine's word on it
	partPatience  = time.Minute      // for the engine to go through what a gateway left
	mostWaitingAt = 8 << 20          // bytes of a connection that the engine has not taken yet
)

// line is one connection of a gateway.
type line struct {
	gateway, engine net.Conn
	user, password  string

	live   sync.Mutex // held while a message is handed on
	barred bool       // not admitted any more

	mu      sync.Mutex
	changed sync.Cond
	waiting net.Buffers // for the engine
	size    int
	ended   bool // nothing more comes
}

func (b *Bus) startFront() error {
	ln, err := net.Listen("tcp", b.opt.Listen)
	if err != nil {
		return fault.New(fault.Path, "gateways cannot be listened to").In(b.opt.Listen).Because(err).
			Fix("check that the address is of this machine and free")
	}
	if b.opt.TLS != nil {
		ln = tls.NewListener(ln, b.opt.TLS)
	}
	f := b.front
	f.ln = ln
	f.work.Go(func() {
		for {
			c, err := ln.Accept()
			switch {
			case errors.Is(err, net.ErrClosed):
				return
			case err != nil:
				b.log.Error("a gateway could not be let in", "error", err)
				time.Sleep(100 * time.Millisecond)
				continue
			}
			f.work.Go(func() { f.serve(c) })
		}
	})
	return nil
}

// admit says who may come in. Whoever may no more, or not with the password he
// came with, is put out, and nothing of his is handed on from here on.
func (f *front) admit(gateways []Gateway) {
	f.mu.Lock()
	f.password = map[string]string{}
	for _, g := range gateways {
		f.password[g.Name] = g.Password
	}
	var out []*line
	for l := range f.lines {
		if p, ok := f.password[l.user]; !ok || p != l.password {
			out = append(out, l)
		}
	}
	f.mu.Unlock()
	for _, l := range out {
		l.live.Lock()
		l.barred = true
		l.live.Unlock()
		l.gateway.Close()
	}
}

// close puts everybody out.
func (f *front) close() {
	if f.ln == nil {
		return
	}
	f.ln.Close()
	f.admit(nil)
	f.work.Wait()
}

// enter notes a connection that says it is a gateway's.
func (f *front) enter(l *line) {
	f.mu.Lock()
	defer f.mu.Unlock()
	l.password = f.password[l.user]
	f.lines[l] = struct{}{}
}

func (f *front) leave(l *line) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.lines, l)
}

// real puts the addresses of gateways and their names as they know them into
// what the engine says.
func (f *front) real(text string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	for l := range f.lines {
		text = strings.ReplaceAll(text, l.engine.LocalAddr().String(), l.gateway.RemoteAddr().String())
	}
	return strings.ReplaceAll(text, f.b.inside, "")
}

// serve lets a connection in, if the engine does, and stays with it.
func (f *front) serve(c net.Conn) {
	defer c.Close()
	e, err := net.Dial("tcp", f.b.engine)
	if err != nil {
		f.b.log.Error("the message server does not answer", "error", err)
		return
	}
	defer e.Close()
	l := &line{gateway: c, engine: e}
	l.changed.L = &l.mu
	until := time.Now().Add(helloPatience)
	c.SetDeadline(until)
	e.SetDeadline(until)
	in := bufio.NewReaderSize(c, 32<<10)
	first, err := readPacket(in)
	hello, ok := hello{}, false
	if err == nil {
		hello, ok = parseHello(first)
	}
	l.user = hello.user
	f.enter(l)
	defer f.leave(l)
	if ok {
		first = hello.packet(f.b.inside)
	} // else the engine says why not, to the gateway and to the log
	if _, err := e.Write(first); err != nil {
		return
	}
	if !ok {
		e.(*net.TCPConn).CloseWrite()
	}
	var word [4]byte // CONNACK: its last byte is 0 for yes
	n, err := io.ReadFull(e, word[:])
	switch {
	case err != nil || word[0] != kindConnack || word[3] != 0:
		c.Write(word[:n])
		return
	case !ok:
		return
	}
	if _, err := c.Write(word[:]); err != nil {
		return
	}
	c.SetDeadline(time.Time{})
	e.SetDeadline(time.Time{})
	f.b.admitted.from(l.user, c.RemoteAddr().String())
	f.stay(l, in, hello.will)
}

// stay passes on what comes until either side ends it.
func (f *front) stay(l *line, in *bufio.Reader, will *will) {
	var both sync.WaitGroup
	both.Go(l.forward)
	both.Go(func() {
		io.Copy(l.gateway, l.engine)
		l.gateway.Close()
		io.Copy(io.Discard, l.engine)
		l.end()
	})
	parted := false
	for !parted {
		p, err := readPacket(in)
		if err == nil {
			err = f.heard(l, p)
		}
		if err != nil {
			if errors.Is(err, errPacket) {
				f.b.said.refuse(fmt.Sprintf("%s - %s: %v", l.gateway.RemoteAddr(), l.user, err))
			}
			break
		}
		l.pass(p)
		parted = p[0] == kindDisconnect
	}
	l.engine.SetDeadline(time.Now().Add(partPatience))
	if will == nil || parted {
		l.end()
		both.Wait()
		return
	}
	m := Message{Gateway: l.user, Topic: will.topic, Payload: will.payload, Arrived: now()}
	allowed := f.hand(l, m)
	l.end()
	both.Wait()
	if allowed { // after all that came before it
		f.b.Keep(m)
	}
}

// heard looks at a packet before the engine gets it.
func (f *front) heard(l *line, p packet) error {
	if p[0]&kindMask != kindPublish {
		return p.check()
	}
	m, qos, err := p.message()
	if err != nil || qos == 2 { // the engine delivers QoS 2 once it is released
		return err
	}
	m.Gateway, m.Arrived = l.user, now()
	if f.hand(l, m) && qos == 0 {
		f.b.Keep(m)
	}
	return nil
}

// hand hands a message on, unless it is none of the gateway's business.
func (f *front) hand(l *line, m Message) bool {
	if !mayPublish(m.Gateway, m.Topic) {
		return false
	}
	l.live.Lock()
	defer l.live.Unlock()
	if !l.barred {
		f.b.hand(m)
	}
	return !l.barred
}

// pass queues a packet for the engine. It waits only when a great many are
// queued already.
func (l *line) pass(p packet) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for l.size > mostWaitingAt && !l.ended {
		l.changed.Wait()
	}
	l.waiting = append(l.waiting, p)
	l.size += len(p)
	l.changed.Broadcast()
}

func (l *line) end() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ended = true
	l.changed.Broadcast()
}

// forward writes to the engine what is queued for it, to the last.
func (l *line) forward() {
	for {
		l.mu.Lock()
		for len(l.waiting) == 0 && !l.ended {
			l.changed.Wait()
		}
		batch := l.waiting
		l.waiting, l.size = nil, 0
		l.changed.Broadcast()
		l.mu.Unlock()
		if len(batch) == 0 {
			l.engine.(*net.TCPConn).CloseWrite()
			return
		}
		if _, err := batch.WriteTo(l.engine); err != nil {
			l.end()
			l.gateway.Close()
			return
		}
	}
}
