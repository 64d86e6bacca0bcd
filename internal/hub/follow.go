package hub

import (
	"context"
	"encoding/base64"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"plumbhook/fault"
	"plumbhook/fleet"
)

// entriesHeader tells which entries a message of a log holds: first and last.
// sentHeader tells when a document was sent, RFC 3339.
const (
	entriesHeader = "Plumbhook-Entries"
	sentHeader    = "Plumbhook-Sent"
)

func logSubject(site, watch string) string { return sitePrefix + site + ".log." + token(watch) }

func docSubject(site string, kind fleet.Kind, id string) string {
	return sitePrefix + site + ".doc." + string(kind) + "." + token(id)
}

// token is a text as one level of a subject.
func token(s string) string { return base64.RawURLEncoding.EncodeToString([]byte(s)) }

func fromToken(s string) (string, error) {
	b, err := base64.RawURLEncoding.DecodeString(s)
	return string(b), err
}

// newsOf reads a message of the hub's stream.
func newsOf(subject string, header nats.Header, data []byte, seq uint64, stored time.Time) (fleet.News, error) {
	n := fleet.News{Sequence: seq}
	parts := strings.Split(subject, ".")
	bad := fault.New(fault.Unsupported, "message %d of the hub's stream cannot be read", seq).In(subject).Fix("use the newer program that wrote it")
	switch {
	case len(parts) == 4 && parts[0]+"." == sitePrefix && parts[2] == "log":
		watch, err := fromToken(parts[3])
		l := &fleet.Log{Site: parts[1], Watch: watch, Pack: data, Stored: stored}
		if _, serr := fmt.Sscanf(header.Get(entriesHeader), "%d-%d", &l.From, &l.To); err != nil || serr != nil || l.From == 0 || l.To < l.From {
			return n, bad
		}
		n.Log = l
	case len(parts) == 5 && parts[2] == "doc", len(parts) == 4 && parts[0]+"." == officePrefix:
		site := fleet.Office
		if len(parts) == 5 {
			site = parts[1]
		}
		kind := fleet.Kind(parts[len(parts)-2])
		id, err := fromToken(parts[len(parts)-1])
		at, terr := time.Parse(time.RFC3339Nano, header.Get(sentHeader))
		if err != nil || terr != nil {
			return n, bad
		}
		n.Document = &fleet.Document{Site: site, Kind: kind, ID: id, At: at, Body: data}
	default:
		return n, bad
	}
	return n, nil
}

// mostNews are handed to a ledger at once, and what comes within gather of the
// first: a transaction costs more than a message.
const (
	mostNews = 2000
	gather   = 50 * time.Millisecond
)

// Follow gives take what the hub's stream holds after a place, in order, some
// at a time, then waits for more until the context or the node ends. A place in
// a stream that was made at another time counts as its beginning. What take does
// not take is given again after a second.
func (h *Hub) Follow(ctx context.Context, from fleet.Place, take func(to fleet.Place, news []fleet.News) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(h.run, cancel)()
	select {
	case <-h.ready:
	case <-ctx.Done():
		return nil
	}
	for ctx.Err() == nil {
		err := h.followOnce(ctx, &from, take)
		if ctx.Err() != nil {
			break
		}
		h.log.Warn("following the hub's stream starts again", "after", from.Sequence, "err", err)
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
		}
	}
	return nil
}

func (h *Hub) followOnce(ctx context.Context, at *fleet.Place, take func(fleet.Place, []fleet.News) error) error {
	s, err := h.js.Stream(ctx, fleetName)
	if err != nil {
		return err
	}
	if born := s.CachedInfo().Created.UnixNano(); born != at.Born {
		*at = fleet.Place{Born: born}
	}
	c, err := s.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: at.Sequence + 1,
	})
	if err != nil {
		return err
	}
	messages, err := c.Messages(jetstream.PullMaxMessages(4*mostNews), jetstream.PullHeartbeat(2*time.Second))
	if err != nil {
		return err
	}
	defer messages.Stop()
	coming := make(chan fleet.News, mostNews)
	failed := make(chan error, 1)
	done := make(chan struct{})
	defer close(done)
	go func() {
		for {
			m, err := messages.Next(jetstream.NextContext(ctx))
			if err != nil {
				failed <- err
				return
			}
			meta, err := m.Metadata()
			if err != nil {
				failed <- err
				return
			}
			n, err := newsOf(m.Subject(), m.Headers(), m.Data(), meta.Sequence.Stream, meta.Timestamp)
			if err != nil {
				h.log.Error("left out", "err", err)
			}
			select {
			case coming <- n:
			case <-done:
				return
			}
		}
	}()
	for {
		var news []fleet.News
		select {
		case n := <-coming:
			news = append(news, n)
		case err := <-failed:
			return err
		}
		soon := time.After(gather)
	more:
		for len(news) < mostNews {
			select {
			case n := <-coming:
				news = append(news, n)
			case <-soon:
				break more
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		to := fleet.Place{Born: at.Born, Sequence: news[len(news)-1].Sequence}
		if to.Sequence <= at.Sequence {
			continue
		}
		if err := take(to, news); err != nil {
			return err
		}
		*at = to
	}
}
