package bus

import (
	"context"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"plumbhook/fault"
)

// raw is a message as it is stored: its gateway in the subject, topic and time
// in headers.
func raw(m Message) (*nats.Msg, error) {
	subject, err := subjectOf(m.Gateway)
	if err != nil {
		return nil, err
	}
	out := nats.NewMsg(rawPrefix + subject)
	out.Data = m.Payload
	if m.Topic != "" {
		out.Header.Set(topicHeader, m.Topic)
	}
	out.Header.Set(arrivedHeader, strconv.FormatInt(int64(m.Arrived), 10))
	return out, nil
}

// Put stores a message that did not come over MQTT and gives its sequence. When
// it returns without an error the message is on disk. It waits for the disk, so
// nobody calls it on the way to an alarm. The gateway, which names the source,
// is needed; an Arrived of zero is now.
func (b *Bus) Put(ctx context.Context, m Message) (uint64, error) {
	if m.Arrived == 0 {
		m.Arrived = now()
	}
	msg, err := raw(m)
	if err != nil {
		return 0, err
	}
	return b.publish(ctx, msg)
}

// Publish stores an event under its kind, as Put does a reading.
func (b *Bus) Publish(ctx context.Context, kind string, payload []byte) (uint64, error) {
	subject, err := subjectOf(kind)
	if err != nil {
		return 0, err
	}
	return b.publish(ctx, &nats.Msg{Subject: evPrefix + subject, Data: payload})
}

func (b *Bus) publish(ctx context.Context, m *nats.Msg) (uint64, error) {
	start := time.Now()
	ack, err := b.js.PublishMsg(ctx, m)
	if err != nil {
		return 0, fault.New(fault.Path, "the message is not stored").Because(err).
			Fix("look after the disk: is it full, or slow?")
	}
	b.disk.took(time.Since(start))
	return ack.Sequence, nil
}

// Keep has a message stored without waiting, in the order of the calls. What
// there is no room for is counted as unkept.
func (b *Bus) Keep(m Message) {
	if m.Arrived == 0 {
		m.Arrived = now()
	}
	msg, err := raw(m)
	if err != nil {
		b.disk.lose(1)
		b.log.Error("a message cannot be stored", "gateway", m.Gateway, "error", err)
		return
	}
	select {
	case b.queue <- msg:
	default:
		b.disk.lose(1)
	}
}

// startQueue stores what Keep takes: one goroutine sends, the other waits for
// the disk, and between them is what is on its way.
func (b *Bus) startQueue() error {
	type flight struct {
		ack  jetstream.PubAckFuture
		sent time.Time
	}
	air := make(chan flight, keepFlight)
	b.tasks.Go(func() {
		for {
			select {
			case m := <-b.queue:
				// Tried again it would come after those behind it.
				ack, err := b.js.PublishMsgAsync(m, jetstream.WithRetryAttempts(0))
				if err != nil {
					b.disk.lose(1)
					continue
				}
				select {
				case air <- flight{ack, time.Now()}:
				case <-b.run.Done():
					return
				}
			case <-b.run.Done():
				return
			}
		}
	})
	b.tasks.Go(func() {
		for {
			select {
			case f := <-air:
				select {
				case <-f.ack.Ok():
					b.disk.took(time.Since(f.sent))
				case err := <-f.ack.Err():
					b.disk.lose(1)
					b.log.Error("a message is not stored", "error", err)
				case <-b.run.Done():
					return
				}
			case <-b.run.Done():
				return
			}
		}
	})
	return nil
}

// drain waits until all of the queue is on disk, but not for longer than told.
func (b *Bus) drain(most time.Duration) {
	if b.js == nil {
		return
	}
	end := time.After(most)
	poll := time.NewTicker(time.Millisecond)
	defer poll.Stop()
	for len(b.queue) > 0 || b.js.PublishAsyncPending() > 0 {
		select {
		case <-poll.C:
		case <-end:
			return
		}
	}
}

// Command sends a payload to a gateway that listens for it, such as the
// Sparkplug request to be born again. It is not stored.
func (b *Bus) Command(topic string, payload []byte) error {
	subject, err := subjectOf(topic)
	if err != nil {
		return err
	}
	return b.live.Publish(subject, payload)
}
