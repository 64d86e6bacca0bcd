//go:build unix

package server

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"sync"
	"syscall"
	"testing"
	"time"
)

// BenchmarkStream has 20 readers over loopback connections follow a lift with
// 64 channels, as fast as views can be told; 20 a second are needed. CPU/view
// is what this whole process spends on a view and its 20 readers.
func BenchmarkStream(b *testing.B) {
	f := newFake(b, crowd(64))
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	s := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()})
	var all sync.WaitGroup
	all.Go(func() { _ = s.Serve(ctx, ln) })
	const readers = 20
	got := make(chan int, readers)
	size := 0
	for i := range readers {
		r, err := http.Get("http://" + ln.Addr().String() + "/api/watch/stream")
		if err != nil {
			b.Fatal(err)
		}
		p := &pipe{r: bufio.NewReaderSize(r.Body, 128<<10)}
		for _, want := range []string{"hello", "view"} {
			if event, data, err := p.next(); err != nil || event != want {
				b.Fatalf("%s: %v", event, err)
			} else if i == 0 {
				size = len(data)
			}
		}
		all.Go(func() {
			defer r.Body.Close()
			for {
				line, err := p.r.ReadSlice('\n')
				if err != nil {
					return
				}
				if string(line) == "event: view\n" {
					got <- 1
				}
			}
		})
	}
	var before, after syscall.Rusage
	b.ResetTimer()
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &before)
	for b.Loop() {
		f.tell()
		for range readers {
			<-got
		}
	}
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &after)
	spent := time.Duration(after.Utime.Nano() + after.Stime.Nano() - before.Utime.Nano() - before.Stime.Nano())
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "views/s")
	b.ReportMetric(float64(spent.Microseconds())/float64(b.N), "CPU-µs/view")
	b.ReportMetric(100*20*spent.Seconds()/float64(b.N), "%core-at-20Hz")
	b.ReportMetric(float64(size), "bytes/view")
	b.StopTimer()
	cancel()
	all.Wait()
}
