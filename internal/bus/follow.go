package bus

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"plumbhook/fault"
	"plumbhook/reading"
)

// Place is how far somebody has got in a stream: all up to a sequence of the
// stream born then. The zero Place is before the oldest message kept.
type Place struct {
	Born     reading.Stamp
	Sequence uint64
}

// Follow gives each every message after a place, in order, then waits for more,
// until the context or the bus ends. Each is called from one goroutine; while
// it works, messages wait on disk.
//
// Whoever keeps Message.Sequence together with what it made of the message, and
// comes back with it, misses none and gets none twice. Messages that retention
// took in between show as a jump of the sequence.
//
// A place beyond the end of the stream, or in a stream born at another time,
// is refused: the data folder is not the one the place was noted in.
func (b *Bus) Follow(ctx context.Context, s Stream, from Place, each func(Message)) error {
	if from.Sequence > 0 && from.Born != b.born[s] {
		return strangePlace(s)
	}
	stream, err := b.js.Stream(ctx, string(s))
	if err != nil {
		return fault.New(fault.Path, "the stream of %s cannot be read", s).Because(err)
	}
	if from.Sequence > stream.CachedInfo().State.LastSeq {
		return strangePlace(s)
	}
	f := b.followers.join(s, from.Sequence)
	defer b.followers.leave(f)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(b.run, cancel)()

	for ctx.Err() == nil {
		if err := b.followOnce(ctx, s, f, each); err != nil && ctx.Err() == nil {
			// The server outside went away, or reading failed; what was not
			// handed out is still there.
			b.log.Warn("following a stream starts again", "stream", string(s), "after", f.at.Load(), "error", err)
			select {
			case <-time.After(time.Second):
			case <-ctx.Done():
			}
		}
	}
	return nil
}

func strangePlace(s Stream) error {
	return fault.New(fault.Disagree, "the stream of %s is not the one that was followed before", s).
		Fix("was the data folder replaced or restored? Begin a new recording from its first message")
}

func (b *Bus) followOnce(ctx context.Context, s Stream, f *follower, each func(Message)) error {
	cons, err := b.js.OrderedConsumer(ctx, string(s), jetstream.OrderedConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: f.at.Load() + 1,
	})
	if err != nil {
		return err
	}
	messages, err := cons.Messages()
	if err != nil {
		return err
	}
	defer messages.Stop()
	for {
		m, err := messages.Next(jetstream.NextContext(ctx))
		if err != nil {
			return err
		}
		meta, err := m.Metadata()
		if err != nil {
			return err
		}
		if meta.Sequence.Stream <= f.at.Load() {
			continue
		}
		each(stored(m.Subject(), m.Headers(), m.Data(), meta.Sequence.Stream, meta.Timestamp))
		f.at.Store(meta.Sequence.Stream)
	}
}

type follower struct {
	stream Stream
	at     atomic.Uint64
}

type followers struct {
	mu  sync.Mutex
	all map[*follower]struct{}
}

func (fs *followers) join(s Stream, at uint64) *follower {
	f := &follower{stream: s}
	f.at.Store(at)
	fs.mu.Lock()
	defer fs.mu.Unlock()
	if fs.all == nil {
		fs.all = map[*follower]struct{}{}
	}
	fs.all[f] = struct{}{}
	return f
}

func (fs *followers) leave(f *follower) {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	delete(fs.all, f)
}

// behind is how many messages up to last the slowest follower has not had.
func (fs *followers) behind(s Stream, first, last uint64) uint64 {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	var most uint64
	for f := range fs.all {
		at := max(f.at.Load(), first-min(first, 1))
		if f.stream == s && last > at {
			most = max(most, last-at)
		}
	}
	return most
}
