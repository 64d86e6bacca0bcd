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

// startLive hands on what the engine delivers and front has not handed on
// already.
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
	qos := m.Header.Get(qosHeader)
	stored := qos != "" && qos[0] != '0' // by the listener
	if b.front != nil && (qos == "" || qos[0] != '2') {
		return // it came past front
	}
	b.hand(msg)
	if !stored {
		b.Keep(msg)
	}
}

// hand hands a message on to whoever judges it.
func (b *Bus) hand(m Message) {
	if b.opt.Live == nil {
		return
	}
	b.handing.Lock()
	defer b.handing.Unlock()
	b.opt.Live(m)
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
