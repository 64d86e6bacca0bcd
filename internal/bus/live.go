package bus

import (
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"plumbhook/reading"
)

// qosHeader is what the MQTT listener puts before a payload: its QoS, "0" to
// "2", and flags.
const qosHeader = "Nmqtt-Pub"

// Headers of what we store ourselves.
const (
	topicHeader   = "Plumbhook-Topic"
	arrivedHeader = "Plumbhook-Arrived" // nanoseconds since 1970
)

// startLive hands on what the listener delivers, which it does before it
// stores. One goroutine takes both trees of topics, so that Live is never
// called twice at once.
func (b *Bus) startLive() error {
	sp, err := subjectOf(sparkplug)
	if err != nil {
		return err
	}
	arrivals := make(chan *nats.Msg, liveQueue)
	for _, subject := range []string{tele + ".>", sp + ".>"} {
		sub, err := b.live.ChanSubscribe(subject, arrivals)
		if err != nil {
			return err
		}
		b.liveSubs = append(b.liveSubs, sub)
	}
	if err := b.live.Flush(); err != nil {
		return err
	}
	b.tasks.Go(func() {
		for {
			select {
			case m := <-arrivals:
				b.arrive(m)
			case <-b.run.Done():
				return
			}
		}
	})
	return nil
}

func (b *Bus) arrive(m *nats.Msg) {
	at := now()
	topic := topicOf(m.Subject)
	if !isReading(topic) {
		return
	}
	msg := Message{Gateway: gatewayOf(topic), Topic: topic, Payload: m.Data, Arrived: at}
	if b.opt.Live != nil {
		b.opt.Live(msg)
	}
	// QoS 1 and 2 are stored by the listener. Whatever else is published to
	// these topics is stored from here.
	if qos := m.Header.Get(qosHeader); qos == "" || qos[0] == '0' {
		b.Keep(msg)
	}
}

// isReading tells topics of readings from those of commands.
func isReading(topic string) bool {
	levels := strings.SplitN(topic, "/", 4)
	if levels[0] == tele {
		return true
	}
	if levels[0] != sparkplug || len(levels) < 4 {
		return false
	}
	for _, types := range [][]string{nodeReadings, deviceReadings} {
		for _, t := range types {
			if levels[2] == t {
				return true
			}
		}
	}
	return false
}

// stored is a message of a stream as it was when it arrived.
func stored(subject string, header nats.Header, payload []byte, seq uint64, at time.Time) Message {
	m := Message{Payload: payload, Arrived: reading.At(at), Sequence: seq}
	switch {
	case strings.HasPrefix(subject, mqttStored):
		m.Topic = topicOf(strings.TrimPrefix(subject, mqttStored))
		m.Gateway = gatewayOf(m.Topic)
	case strings.HasPrefix(subject, rawPrefix):
		m.Topic = header.Get(topicHeader)
		m.Gateway = topicOf(strings.TrimPrefix(subject, rawPrefix))
		if ns, err := strconv.ParseInt(header.Get(arrivedHeader), 10, 64); err == nil {
			m.Arrived = reading.Stamp(ns)
		}
	default:
		m.Topic = topicOf(strings.TrimPrefix(subject, evPrefix))
	}
	return m
}
