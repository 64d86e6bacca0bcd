package parquet_test

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/record/parquet"
)

func measure(ch string) record.Measure {
	return map[string]record.Measure{"W": record.Force, "E": record.Force, "wind": record.Speed}[ch]
}

// correct takes 10 N off what W reads.
func correct(r *reading.Reading) (float64, bool) {
	return r.Value - 10, r.Channel == "W" && r.Usable()
}

// entries gives so many frames of four readings, 50 a second.
func entries(n int, yield func(*logbook.Entry)) {
	for i := range n {
		at := reading.Seconds(1.8e9).Plus(float64(i) / 50)
		f := &reading.Frame{Source: "gate", Arrived: at.Plus(0.03), Readings: []reading.Reading{
			{Channel: "W", At: at, Seq: uint64(i), Value: 20000 + float64(i)/3, Marks: reading.Timed | reading.Numbered},
			{Channel: "E", At: at, Value: math.Sin(float64(i)), Marks: reading.Timed},
			{Channel: "E", At: at, Value: 5, Quality: []reading.Quality{reading.Good, reading.Stale, reading.Lost, reading.Bad}[i%4], Marks: reading.Timed | reading.Historical},
			{Channel: "stray", At: at.Plus(0.03), Value: 0},
		}}
		yield(&logbook.Entry{N: uint64(2*i + 1), At: f.Arrived, Kind: logbook.Frame, Frame: f})
		yield(&logbook.Entry{N: uint64(2*i + 2), At: f.Arrived, Kind: logbook.Tick})
	}
}

func write(t testing.TB, n int) []byte {
	t.Helper()
	var b bytes.Buffer
	w := parquet.NewWriter(&b, measure, correct)
	entries(n, func(en *logbook.Entry) {
		if err := w.Entry(en); err != nil {
			t.Fatal(err)
		}
	})
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A reader by others, in another language, finds every number as it was
// written, over several row groups and without any.
func TestOtherReader(t *testing.T) {
	reader, err := filepath.Abs("../../web/node_modules/hyparquet/src/index.js")
	if err != nil {
		t.Fatal(err)
	}
	node, err := exec.LookPath("node")
	if _, there := os.Stat(reader); err != nil || there != nil {
		t.Skip("needs node and the packages of the web folder (make web)")
	}
	for _, n := range []int{0, 1, 17000} {
		file := filepath.Join(t.TempDir(), "readings.parquet")
		if err := os.WriteFile(file, write(t, n), 0o600); err != nil {
			t.Fatal(err)
		}
		// Numbers that JSON cannot hold go as texts; a double goes as the
		// shortest text that reads back as the same.
		script := `import { parquetReadObjects } from "file://` + reader + `"
			import { readFileSync } from "fs"
			const b = readFileSync(process.argv[1])
			const rows = await parquetReadObjects({ file: b.buffer.slice(b.byteOffset, b.byteOffset + b.length) })
			for (const { arrived_ns: arrived, t_ns: at, corrected_N: corrected, ...rest } of rows)
				console.log(JSON.stringify({ ...rest, arrived, at, corrected }, (k, v) => typeof v === "bigint" ? v.toString() : v))`
		out, err := exec.Command(node, "--input-type=module", "-e", script, file).Output()
		if err != nil {
			t.Fatalf("%v: %s", err, err.(*exec.ExitError).Stderr)
		}
		in := json.NewDecoder(bytes.NewReader(out))
		rows := 0
		entries(n, func(en *logbook.Entry) {
			if en.Frame == nil {
				return
			}
			for i := range en.Frame.Readings {
				want := &en.Frame.Readings[i]
				var got struct {
					Entry, Arrived, At, Seq               json.Number
					Source, Channel, Unit, Quality, Marks string
					Raw, Corrected                        *float64
				}
				if err := in.Decode(&got); err != nil {
					t.Fatalf("row %d: %v", rows, err)
				}
				rows++
				whole := func(n json.Number) int64 { v, _ := n.Int64(); return v }
				same := whole(got.Entry) == int64(en.N) && whole(got.Arrived) == int64(en.Frame.Arrived) && whole(got.At) == int64(want.At) &&
					whole(got.Seq) == int64(want.Seq) && got.Source == "gate" && got.Channel == want.Channel && got.Unit == string(measure(want.Channel)) &&
					got.Quality == want.Quality.String()
				if n, ok := correct(want); ok != (got.Corrected != nil) || ok && n != *got.Corrected {
					same = false
				}
				if lost := want.Quality == reading.Lost; lost != (got.Raw == nil) || !lost && *got.Raw != want.Value {
					same = false
				}
				marks := strings.Fields(got.Marks)
				for k, name := range []string{"timed", "numbered", "historical", "unsteady"} {
					if (want.Marks&(1<<k) != 0) != slices.Contains(marks, name) {
						same = false
					}
				}
				if !same {
					t.Fatalf("row %d: %+v, want %+v of entry %d", rows, got, want, en.N)
				}
			}
		})
		if in.More() || rows != 4*n {
			t.Errorf("%d rows of %d, more: %v", rows, 4*n, in.More())
		}
	}
}

// The same readings give the same bytes.
func TestSameBytes(t *testing.T) {
	if !bytes.Equal(write(t, 3000), write(t, 3000)) {
		t.Error("they differ")
	}
}
