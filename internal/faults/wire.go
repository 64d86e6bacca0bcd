// Package faults tries whole processes: a site between a gateway and a clerk,
// while the wire is cut, slow, silent or corrupt, the process is killed or
// hangs, clocks jump and the ends of files are torn. What happens when comes
// from a seed, so that a schedule that broke something can be played again.
//
// What must hold in every schedule is in the tests; [Wire] is what they pull at.
package faults

import (
	"math/rand/v2"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// A Wire carries connections from the address it listens on to another, and can
// be made to do it badly.
type Wire struct {
	ln   net.Listener
	to   atomic.Value // string
	bad  atomic.Pointer[Trouble]
	mu   sync.Mutex
	open map[net.Conn]bool
	done sync.WaitGroup
}

// A Trouble is what is wrong with a wire. The zero value is a sound one.
type Trouble struct {
	Delay  time.Duration // of every piece, either way
	Silent bool          // connections stay open and nothing comes through
	Refuse bool          // nobody can connect
	Spoil  float64       // share of the pieces towards the far end in which a byte is spoilt
}

// NewWire listens on a free port of this machine.
func NewWire() (*Wire, error) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	w := &Wire{ln: ln, open: map[net.Conn]bool{}}
	w.to.Store("")
	w.bad.Store(&Trouble{})
	w.done.Go(w.accept)
	return w, nil
}

// Address is where it listens.
func (w *Wire) Address() string { return w.ln.Addr().String() }

// To says where connections lead from now on.
func (w *Wire) To(address string) { w.to.Store(address) }

// Suffer makes the trouble of every connection, open or to come.
func (w *Wire) Suffer(t Trouble) { w.bad.Store(&t) }

// Cut breaks every open connection.
func (w *Wire) Cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.open {
		c.Close()
	}
}

// Close ends the wire with everything on it.
func (w *Wire) Close() {
	w.ln.Close()
	w.Suffer(Trouble{})
	w.Cut()
	w.done.Wait()
}

func (w *Wire) accept() {
	for {
		near, err := w.ln.Accept()
		if err != nil {
			return
		}
		if w.bad.Load().Refuse {
			near.Close()
			continue
		}
		far, err := net.DialTimeout("tcp", w.to.Load().(string), time.Second)
		if err != nil {
			near.Close()
			continue
		}
		w.mu.Lock()
		w.open[near], w.open[far] = true, true
		w.mu.Unlock()
		w.done.Go(func() { w.carry(far, near, true) })
		w.done.Go(func() { w.carry(near, far, false) })
	}
}

// carry takes pieces from one end to the other until either is gone.
func (w *Wire) carry(to, from net.Conn, spoils bool) {
	defer func() {
		to.Close()
		from.Close()
		w.mu.Lock()
		delete(w.open, to)
		delete(w.open, from)
		w.mu.Unlock()
	}()
	piece := make([]byte, 4096)
	for {
		n, err := from.Read(piece)
		if n > 0 {
			bad := w.bad.Load()
			time.Sleep(bad.Delay)
			for bad.Silent {
				time.Sleep(10 * time.Millisecond)
				bad = w.bad.Load()
			}
			if spoils && rand.Float64() < bad.Spoil {
				// No UTF-8 has such a byte: it can make no other number of one.
				piece[rand.IntN(n)] = 0xFF
			}
			if _, err := to.Write(piece[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}
