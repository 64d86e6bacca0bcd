package rehearse

import "testing"

// BenchmarkNew tells how many seconds of lift one core plays in a second.
func BenchmarkNew(b *testing.B) {
	for _, f := range []string{pump, bundle, gate} {
		l := read(b, f)
		b.Run(l.Load.Name, func(b *testing.B) {
			played, seed := 0.0, uint64(0)
			for b.Loop() {
				seed++
				r, err := New(l, seed, "as_planned", Options{Rate: 10})
				if err != nil {
					b.Fatal(err)
				}
				played += r.Length
			}
			b.ReportMetric(played/b.Elapsed().Seconds(), "lift-s/s")
		})
	}
}
