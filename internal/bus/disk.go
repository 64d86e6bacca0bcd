package bus

import (
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"

	"plumbhook/reading"
)

// disk watches how long stored messages take, and acknowledges in the disk's
// stead what takes too long. It sees what the MQTT listener asks to have
// stored, with the subject at which it awaits the answer, and the answers.
type disk struct {
	mu      sync.Mutex
	waiting map[string]*wait // by reply subject
	order   []*wait          // the same, oldest first, with some that are through

	stalled bool
	unkept  uint64
	since   reading.Stamp // unkept, since
	// The longest wait lately, as the maxima of two intervals.
	worst, before time.Duration
	turned        time.Time
}

type wait struct {
	reply string
	at    time.Time
	ours  bool // what is published, stored in readings: may be acknowledged by us
	asked bool
	// answered: the answer came. stood: ours came, for want of it.
	answered, stood bool
}

const (
	sweepEvery = 20 * time.Millisecond
	lately     = 5 * time.Second
	// An answer whose question we have not seen is kept that long.
	strayAge = 10 * time.Second
	// An answer may still come that late. Later, and beyond so many, nothing is
	// remembered; what ours stood in for stays counted as unkept.
	hopeAge     = time.Minute
	mostWaiting = 1 << 17
)

// inStead is the acknowledgement the listener takes for its store's.
var inStead = []byte(`{"stream":"` + string(Readings) + `","seq":0}`)

func (b *Bus) startDisk() error {
	d := &b.disk
	d.waiting = map[string]*wait{}
	acks := make(chan *nats.Msg, liveQueue)
	for _, subject := range []string{mqttStored + ">", "$MQTT.rmsgs.>", "$MQTT.qos2.in.>", mqttReply} {
		if _, err := b.acks.ChanSubscribe(subject, acks); err != nil {
			return err
		}
	}
	if err := b.acks.Flush(); err != nil {
		return err
	}
	b.tasks.Go(func() {
		sweep := time.NewTicker(sweepEvery)
		defer sweep.Stop()
		for {
			select {
			case m := <-acks:
				switch {
				case strings.HasPrefix(m.Subject, "$MQTT.JSA."):
					d.answer(m.Subject, time.Now())
				case m.Reply != "":
					b.standIn(d.ask(m.Reply, strings.HasPrefix(m.Subject, mqttStored), time.Now()))
				}
			case t := <-sweep.C:
				b.standIn(d.sweep(t, b.opt.Patience))
			case <-b.run.Done():
				return
			}
		}
	})
	return nil
}

func (b *Bus) standIn(replies []string) {
	for _, r := range replies {
		if err := b.acks.Publish(r, inStead); err != nil {
			b.log.Error("cannot acknowledge for the disk", "error", err)
		}
	}
}

// ask notes that an answer is awaited and gives the reply subject if ours must
// do for it at once.
func (d *disk) ask(reply string, ours bool, t time.Time) []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if w := d.waiting[reply]; w != nil { // the answer was faster
		w.asked = true
		delete(d.waiting, reply)
		return nil
	}
	if len(d.waiting) >= mostWaiting {
		if ours {
			d.loseLocked(1)
			return []string{reply}
		}
		return nil
	}
	w := &wait{reply: reply, at: t, ours: ours, asked: true}
	d.waiting[reply] = w
	d.order = append(d.order, w)
	if d.stalled {
		return d.stand(w, nil)
	}
	return nil
}

func (d *disk) answer(reply string, t time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	w := d.waiting[reply]
	if w == nil {
		w = &wait{reply: reply, at: t, answered: true}
		d.waiting[reply] = w
		d.order = append(d.order, w)
		return
	}
	w.answered = true
	delete(d.waiting, reply)
	d.tookLocked(t.Sub(w.at), t)
	if w.stood {
		d.unkept--
		if d.unkept == 0 {
			d.since = 0
		}
	}
	d.stalled = false
}

// sweep gives the replies to answer for the disk.
func (d *disk) sweep(t time.Time, patience time.Duration) (replies []string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.turn(t)
	n := 0
	for _, w := range d.order {
		switch {
		case w.asked && w.answered, w.answered && t.Sub(w.at) > strayAge, (w.stood || !w.ours) && t.Sub(w.at) > hopeAge:
			delete(d.waiting, w.reply)
		default:
			d.order[n] = w
			n++
		}
	}
	clear(d.order[n:])
	d.order = d.order[:n]
	for _, w := range d.order {
		if w.ours && !w.stood && !w.answered && (d.stalled || t.Sub(w.at) > patience) {
			d.stalled = true
			replies = d.stand(w, replies)
		}
	}
	return replies
}

func (d *disk) stand(w *wait, replies []string) []string {
	if !w.ours {
		return replies
	}
	w.stood = true
	d.loseLocked(1)
	return append(replies, w.reply)
}

func (d *disk) lose(n uint64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.loseLocked(n)
}

func (d *disk) loseLocked(n uint64) {
	if d.unkept == 0 {
		d.since = now()
	}
	d.unkept += n
}

// took notes how long the disk took for a message.
func (d *disk) took(t time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tookLocked(t, time.Now())
}

func (d *disk) tookLocked(took time.Duration, t time.Time) {
	d.turn(t)
	d.worst = max(d.worst, took)
}

func (d *disk) turn(t time.Time) {
	if t.Sub(d.turned) >= lately {
		d.before, d.worst, d.turned = d.worst, 0, t
	}
}

// delay is the longest wait of late, that of messages still waiting included.
func (d *disk) delay(t time.Time) time.Duration {
	longest := max(d.worst, d.before)
	for _, w := range d.order {
		if w.asked && !w.answered {
			return max(longest, t.Sub(w.at))
		}
	}
	return longest
}
