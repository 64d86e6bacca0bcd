package station

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

var _ prometheus.Collector = (*Station)(nil)

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("plumbhook_"+name, help, labels, nil)
}

var (
	descEntries    = desc("recording_entries_total", "Number of the last entry of the recording.")
	descUnsafe     = desc("recording_behind_seconds", "How far the disk is behind what was recorded.")
	descLost       = desc("recording_lost_entries", "Entries that the disk did not take since the program began.")
	descFree       = desc("disk_free_bytes", "Room left for the data folder.")
	descUnkept     = desc("bus_unkept_messages", "Messages judged and not on disk.")
	descDelay      = desc("bus_disk_delay_seconds", "The longest a message took lately to be on disk.")
	descDropped    = desc("bus_dropped_messages_total", "Messages that the way to the watch had no room for.")
	descDenied     = desc("bus_denied_publishes_total", "Publishes outside a gateway's own topics.")
	descRefused    = desc("bus_refused_connections_total", "Connections refused: a wrong password, another protocol.")
	descConnected  = desc("gateway_connected", "1 while the gateway is connected.", "gateway")
	descReadings   = desc("gateway_readings_total", "Readings that came of a gateway.", "gateway")
	descGarbled    = desc("gateway_garbled_total", "Lines of a gateway that could not be read.", "gateway")
	descSilent     = desc("gateway_silent_seconds", "How long nothing has come of a gateway; -1 before the first.", "gateway")
	descChannel    = desc("channel_readings_total", "Readings that came of a channel.", "channel")
	descMissing    = desc("channel_missing_readings", "Readings that the sender counted and that have not come.", "channel")
	descDuplicates = desc("channel_duplicates_total", "Readings of a channel that came twice.", "channel")
)

// Describe tells nothing beforehand: gateways and channels are those of a map.
func (s *Station) Describe(chan<- *prometheus.Desc) {}

// Collect gives how recording, message server, gateways and channels do.
func (s *Station) Collect(out chan<- prometheus.Metric) {
	put := func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, kind, v, labels...)
	}
	const counter, gauge = prometheus.CounterValue, prometheus.GaugeValue
	st := s.rec.Status()
	put(descEntries, counter, float64(st.Last))
	put(descUnsafe, gauge, st.LastAt.Since(st.SafeAt))
	lost := 0.0
	if st.Incomplete != nil {
		lost = float64(st.Incomplete.Lost)
	}
	put(descLost, gauge, lost)
	s.mu.Lock()
	x := s.site
	s.mu.Unlock()
	if x == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	h := x.bus.Health(ctx)
	put(descFree, gauge, float64(h.Free))
	put(descUnkept, gauge, float64(h.Unkept))
	put(descDelay, gauge, h.DiskDelay)
	put(descDropped, counter, float64(h.Dropped))
	put(descDenied, counter, float64(h.Denied))
	put(descRefused, counter, float64(h.Refused))
	up := map[string]float64{}
	for _, g := range x.tally.Gateways() {
		if g.Up {
			up[g.Gateway] = 1
		} else {
			up[g.Gateway] = 0
		}
		silent := -1.0
		if g.Arrived != 0 {
			silent = time.Since(g.Arrived.Time()).Seconds()
		}
		put(descReadings, counter, float64(g.Readings), g.Gateway)
		put(descGarbled, counter, float64(g.Garbled), g.Gateway)
		put(descSilent, gauge, silent, g.Gateway)
	}
	for _, g := range h.Gateways {
		if up[g.Name] = 0; g.Connected {
			up[g.Name] = 1
		}
	}
	for name, v := range up {
		put(descConnected, gauge, v, name)
	}
	for _, c := range x.tally.Channels() {
		put(descChannel, counter, float64(c.Readings), c.Channel)
		put(descMissing, gauge, float64(c.Missing), c.Channel)
		put(descDuplicates, counter, float64(c.Duplicates), c.Channel)
	}
}
