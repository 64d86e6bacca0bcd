package record

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// busy is a frame of 64 channels at 100 Hz, ten samples of each, with values as
// a converter of 24 bits gives them and jitter on every frame.
func busy(n uint64, byChannel bool) *logbook.Entry {
	at := reading.Stamp(1_780_000_000_000_000_000) + reading.Stamp(n)*100_000_000 + reading.Stamp(n*7919%500_000)
	f := &reading.Frame{Source: "gateway 1", Arrived: at}
	for i := range 640 {
		c, k := i/10, i%10
		if !byChannel {
			c, k = i%64, i/64
		}
		f.Readings = append(f.Readings, reading.Reading{
			Channel: channelNames[c], At: at + reading.Stamp(k-12)*10_000_000, Seq: n*10 + uint64(k), Marks: reading.Timed | reading.Numbered,
			Value: 65000 * float64((uint64(i)*2654435761+n*40503)%(1<<24)) / (1 << 24) * 0.980665,
		})
	}
	return &logbook.Entry{N: n, At: at + 1_000_000, Kind: logbook.Frame, Frame: f}
}

var channelNames = func() (out [64]string) {
	for i := range out {
		out[i] = "cell-" + string(rune('A'+i/8)) + string(rune('1'+i%8))
	}
	return
}()

// lifted is a lift with four cells at 50 Hz, one sample of each in a frame.
func lifted(n uint64) *logbook.Entry {
	at := reading.Stamp(1_780_000_000_000_000_000) + reading.Stamp(n)*20_000_000
	f := &reading.Frame{Source: "gateway 1", Arrived: at}
	for i := range 4 {
		f.Readings = append(f.Readings, reading.Reading{
			Channel: channelNames[i], At: at - 3_000_000, Marks: reading.Timed,
			Value: 0.980665 * float64((uint64(i)*2654435761+n*40503)%(1<<24)) / 256,
		})
	}
	return &logbook.Entry{N: n, At: at + 1_000_000, Kind: logbook.Frame, Frame: f}
}

// BenchmarkAppend is what the alarm path pays: 64 channels at 100 Hz, ten
// samples a frame, taken into the queue while the disk is never waited for.
func BenchmarkAppend(b *testing.B) {
	r, _ := open(b, b.TempDir(), Options{Queue: 1 << 30})
	entries := make([]*logbook.Entry, 100)
	for i := range entries {
		entries[i] = busy(uint64(i+1), true)
	}
	b.ReportAllocs()
	for i := range b.N {
		e := entries[i%len(entries)]
		e.N = uint64(i + 1)
		if err := r.Append(e); err != nil {
			b.Fatal(err)
		}
	}
	b.StopTimer()
	if err := r.Sync(context.Background()); err != nil {
		b.Fatal(err)
	}
	bytes := int64(0)
	for _, p := range r.Reader().places {
		bytes += p.size
	}
	b.ReportMetric(float64(bytes)/float64(b.N)/640, "B/sample")
	b.ReportMetric(float64(bytes)/1e6/b.Elapsed().Seconds(), "MB/s-queued")
	b.ReportMetric(float64(b.N)*640/b.Elapsed().Seconds(), "samples/s")
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkDurable compares entries that are safe one by one, and in groups as
// eight callers make them, with a bare write and fsync of as many bytes.
func BenchmarkDurable(b *testing.B) {
	e := busy(1, true)
	var enc encoder
	payload, _, err := enc.append(nil, e)
	if err != nil {
		b.Fatal(err)
	}
	raw, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	if err != nil {
		b.Fatal(err)
	}
	defer raw.Close()
	one, _ := open(b, b.TempDir(), Options{Every: time.Hour})
	group, _ := open(b, b.TempDir(), Options{Every: time.Hour})

	var bare, single, grouped time.Duration
	n := uint64(0)
	for b.Loop() {
		start := time.Now()
		if _, err := raw.Write(payload); err != nil {
			b.Fatal(err)
		}
		if err := raw.Sync(); err != nil {
			b.Fatal(err)
		}
		bare += time.Since(start)

		n++
		start = time.Now()
		e.N = n
		fill(b, one, []*logbook.Entry{e})
		single += time.Since(start)

		start = time.Now()
		var wait sync.WaitGroup
		var order sync.Mutex
		next := (n - 1) * 8
		for range 8 {
			wait.Go(func() {
				order.Lock()
				next++
				mine := *e
				mine.N = next
				err := group.Append(&mine)
				order.Unlock()
				if err == nil {
					err = group.Sync(context.Background())
				}
				if err != nil {
					b.Error(err)
				}
			})
		}
		wait.Wait()
		grouped += time.Since(start)
	}
	perSecond := func(d time.Duration, entries uint64) float64 { return float64(entries) / d.Seconds() }
	b.ReportMetric(perSecond(bare, n), "bare-writes/s")
	b.ReportMetric(perSecond(single, n), "entries/s-alone")
	b.ReportMetric(perSecond(grouped, 8*n), "entries/s-grouped")
	b.ReportMetric(perSecond(grouped, 8*n)*float64(len(payload))/1e6, "MB/s-grouped")
	b.ReportMetric(perSecond(single, n)/perSecond(bare, n), "alone/bare")
	b.ReportMetric(perSecond(grouped, 8*n)/perSecond(bare, n), "grouped/bare")
}

// BenchmarkRead goes through an hour of four channels at 50 Hz, one sample
// each a frame, and through as many samples in frames of 640.
func BenchmarkRead(b *testing.B) {
	for _, c := range []struct {
		name string
		n    uint64
		make func(uint64) *logbook.Entry
	}{
		{"hour-of-4", 180_000, lifted},
		{"frames-of-640", 1125, func(n uint64) *logbook.Entry { return busy(n, true) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			dir := b.TempDir()
			r, _ := open(b, dir, Options{disk: careless{}, Queue: 1 << 30})
			for n := range c.n {
				if err := r.Append(c.make(n + 1)); err != nil {
					b.Fatal(err)
				}
			}
			r.Close()
			reader, err := NewReader(dir)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			samples := 0
			for b.Loop() {
				for e, err := range reader.From(0) {
					if err != nil {
						b.Fatal(err)
					}
					samples += len(e.Frame.Readings)
				}
			}
			b.ReportMetric(float64(samples)/b.Elapsed().Seconds(), "samples/s")
		})
	}
}

// BenchmarkOpen opens recordings of growing length, in segments of a sixteenth
// of the usual size, and some of full segments: a day of 16 channels at 50 Hz,
// 69 million samples, makes about 20 of those.
func BenchmarkOpen(b *testing.B) {
	for _, c := range []struct {
		segments int
		size     int64
	}{{1, 2 << 20}, {8, 2 << 20}, {32, 2 << 20}, {128, 2 << 20}, {3, 32 << 20}} {
		b.Run(fmt.Sprintf("%dx%dMiB", c.segments, c.size>>20), func(b *testing.B) {
			dir := b.TempDir()
			o := Options{Segment: c.size, Queue: 1 << 30, disk: careless{}}
			r, _ := open(b, dir, o)
			total := int64(c.segments)*c.size - c.size/8
			samples := 0
			e := busy(1, true)
			for n, bytes := uint64(1), int64(0); bytes < total; n++ {
				e.N = n
				if err := r.Append(e); err != nil {
					b.Fatal(err)
				}
				samples += 640
				if n%100 == 1 {
					if err := r.Sync(context.Background()); err != nil {
						b.Fatal(err)
					}
					bytes = int64(float64(n) * 640 * 9.3)
				}
			}
			r.Close()
			b.ResetTimer()
			for b.Loop() {
				r, found, err := Open(dir, o)
				if err != nil || found.Last*640 != uint64(samples) {
					b.Fatal(found, err)
				}
				b.StopTimer()
				r.Close()
				b.StartTimer()
			}
			b.ReportMetric(float64(samples)/1e6, "million-samples")
		})
	}
}

// BenchmarkReadCSV reads an hour of four channels at 50 Hz, 720,000 rows.
func BenchmarkReadCSV(b *testing.B) {
	var text bytes.Buffer
	err := WriteCSV(&text, func(yield func(*logbook.Entry, error) bool) {
		for n := range uint64(180_000) {
			yield(lifted(n), nil)
		}
	}, func(string) Measure { return Force })
	if err != nil {
		b.Fatal(err)
	}
	var bare bytes.Buffer
	bare.WriteString("t,channel,value_N\n")
	for n := range 180_000 {
		for i := range 4 {
			fmt.Fprintf(&bare, "%.2f,%s,%.1f\n", float64(n)/50, channelNames[i], float64((i*2654435761+n*40503)%(1<<24))/256)
		}
	}
	for name, data := range map[string][]byte{"dates-and-units": text.Bytes(), "seconds": bare.Bytes()} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			rows := 0
			for b.Loop() {
				for f, err := range ReadCSV("a.csv", bytes.NewReader(data)) {
					if err != nil || len(f.Garbled) > 0 {
						b.Fatal(err, f.Garbled)
					}
					rows += len(f.Readings)
				}
			}
			b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
