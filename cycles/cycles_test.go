package cycles

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// published reads the worked example.
func published(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile("testdata/e1049.txt")
	if err != nil {
		t.Fatal(err)
	}
	all := map[string][]string{}
	for line := range strings.Lines(string(text)) {
		if f := strings.Fields(line); len(f) > 1 && f[0] != "#" {
			all[f[0]] = f[1:]
		}
	}
	return all
}

func numbers(t *testing.T, texts []string) (all []float64) {
	t.Helper()
	for _, s := range texts {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, v)
	}
	return all
}

// by sums counts by range.
func by(all []Cycle) map[float64]float64 {
	sums := map[float64]float64{}
	for _, c := range all {
		sums[c.Range()] += c.Count
	}
	return sums
}

func TestPublished(t *testing.T) {
	p := published(t)
	got := Counter{}.Count(slices.Values(numbers(t, p["history"])))
	want := map[float64]float64{}
	for _, s := range p["counts"] {
		r, n, _ := strings.Cut(s, ":")
		want[numbers(t, []string{r})[0]] = numbers(t, []string{n})[0]
	}
	if !maps.Equal(by(got), want) {
		t.Errorf("counts %v, published %v", by(got), want)
	}
	var counts, means []float64
	for _, c := range got {
		counts, means = append(counts, c.Count), append(means, c.Mean())
	}
	if !slices.Equal(counts, numbers(t, p["order"])) || !slices.Equal(means, numbers(t, p["means"])) {
		t.Errorf("counts %v, means %v", counts, means)
	}
	h := Histogram{Range: 2}
	for _, c := range got {
		h.Add(c)
	}
	if s := fmt.Sprint(h.Classes()); s != "[{2 4 0 0 0.5} {4 6 0 0 1.5} {6 8 0 0 0.5} {8 10 0 0 1.5}]" {
		t.Error(s)
	}
}

func TestTurns(t *testing.T) {
	for _, c := range []struct {
		what    string
		samples []float64
		gate    float64
		want    []float64
	}{
		{"nothing", nil, 0, nil},
		{"one sample", []float64{3}, 0, []float64{3}},
		{"flat", []float64{3, 3, 3}, 0, []float64{3}},
		{"up", []float64{0, 1, 1, 2}, 0, []float64{0, 2}},
		{"plateaus", []float64{0, 2, 2, -1, -1, 1}, 0, []float64{0, 2, -1, 1}},
		{"noise below the gate", []float64{0, 10, 9.5, 10.2, 9.8, 0, 0.4, 0}, 1, []float64{0, 10.2, 0}},
		{"a swing of the gate", []float64{0, 10, 9, 10}, 1, []float64{0, 10, 9, 10}},
		{"a start that wavers", []float64{0, 0.4, -0.4, 5}, 1, []float64{0, 5}},
	} {
		if got := Turns(slices.Values(c.samples), c.gate); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
}

// fourPoint counts by another definition: of four turns in a row, the inner pair
// is a cycle when the outer pair encloses it. What is left opens and closes
// nothing more; its ranges are halves.
func fourPoint(turns []float64) (whole []Cycle, left []float64) {
	for _, v := range turns {
		left = append(left, v)
		for n := len(left); n >= 4; n = len(left) {
			a, b, c, d := left[n-4], left[n-3], left[n-2], left[n-1]
			if min(b, c) < min(a, d) || max(b, c) > max(a, d) {
				break
			}
			whole = append(whole, cycle(b, c, 1))
			left = slices.Delete(left, n-3, n-1)
		}
	}
	return whole, left
}

// history draws one of whole numbers, so that ranges tie often.
func history(t *rapid.T) []float64 {
	var all []float64
	for _, n := range rapid.SliceOfN(rapid.IntRange(-12, 12), 0, 120).Draw(t, "history") {
		all = append(all, float64(n))
	}
	return all
}

// TestFourPoint: both methods find the same ranges, each range as often, once
// halves are added up.
func TestFourPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := history(t)
		whole, left := fourPoint(Turns(slices.Values(h), 0))
		for i := 1; i < len(left); i++ {
			whole = append(whole, cycle(left[i-1], left[i], 0.5))
		}
		got := by(Counter{}.Count(slices.Values(h)))
		if want := by(whole); !maps.Equal(got, want) {
			t.Fatalf("three-point %v, four-point %v", got, want)
		}
	})
}

// TestKept: what the counter keeps stays small, the whole way up and down is in
// the cycles, and the greatest of them is from the lowest to the highest.
func TestKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := rapid.SliceOfN(rapid.Float64Range(-50, 50), 2, 400).Draw(t, "samples")
		c := Counter{Step: 5}
		var all []Cycle
		for _, v := range samples {
			all = append(all, c.Add(v)...)
			if c.Open() > 100/5+2 {
				t.Fatalf("keeps %d turns", c.Open())
			}
		}
		all = append(all, c.Rest()...)
		far, greatest := 0.0, 0.0
		for _, k := range all {
			far += 2 * k.Count * k.Range()
			greatest = max(greatest, k.Range())
		}
		way, low, high := 0.0, c.round(samples[0]), c.round(samples[0])
		for i, v := range samples {
			low, high = min(low, c.round(v)), max(high, c.round(v))
			if i > 0 {
				way += math.Abs(c.round(v) - c.round(samples[i-1]))
			}
		}
		if math.Abs(far-way) > 1e-9*way+1e-9 || greatest != high-low {
			t.Fatalf("way %g in cycles of %g; greatest %g of %g", way, far, greatest, high-low)
		}
	})
}

// TestStream: whoever asks for the rest in between disturbs nothing, and what is
// no number is counted as left out.
func TestStream(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := history(t)
		var c Counter
		var got []Cycle
		for _, v := range h {
			c.Rest()
			got = append(got, c.Add(v)...)
			got = append(got, c.Add(math.NaN())...)
			got = append(got, c.Add(math.Inf(1))...)
		}
		got = append(got, c.Rest()...)
		if want := (Counter{}).Count(slices.Values(h)); !slices.Equal(got, want) || c.Skipped() != 2*len(h) {
			t.Fatalf("%v, want %v; %d skipped", got, want, c.Skipped())
		}
	})
}

func TestMeans(t *testing.T) {
	h := Histogram{Range: 10, Mean: 10}
	for _, c := range (Counter{}).Count(slices.Values([]float64{0, 35, 15, 30, -5, 0})) {
		h.Add(c)
	}
	if s := fmt.Sprint(h.Classes()); s != "[{0 10 -10 0 0.5} {10 20 20 30 1} {30 40 10 20 0.5} {40 50 10 20 0.5}]" {
		t.Error(s)
	}
}
