package seal_test

import (
	"archive/zip"
	"bytes"
	"cmp"
	"compress/flate"
	"crypto/ed25519"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbhook/record/seal"
)

func keyOf(b byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{b}, ed25519.SeedSize))
}

func manifest() *seal.Manifest {
	return &seal.Manifest{
		Number: 1, Sealed: time.Date(2026, 11, 25, 17, 30, 0, 0, time.UTC), Program: "plumbhook test", Title: `Pump "3", ±2 %`, Revision: "B",
		Plan: strings.Repeat("ab", 32), From: "0", To: "60", Readings: 3, Missing: []string{"entries 4 to 6"},
		Keep: []seal.Keep{{"2028-11-25", "a rule", "a source"}},
	}
}

// files are what most tests seal: an empty one, one within a chunk, one of just
// two chunks and two of the same size.
func files() []seal.Source {
	noise := make([]byte, 3*64<<10+17)
	r := rand.NewChaCha8([32]byte{1})
	r.Read(noise)
	return []seal.Source{
		seal.Bytes("readings.csv", noise), seal.Bytes("check.json", []byte("{}\n")), seal.Bytes("empty.txt", nil),
		seal.Bytes("plan/lift.yaml", []byte("plumbhook: 1\n")), seal.Bytes("sheets/Größe.pdf", noise[:128<<10]), seal.Bytes("sheets/b.pdf", noise[100:][:128<<10]),
	}
}

func sealed(t testing.TB, m *seal.Manifest, files []seal.Source, key ed25519.PrivateKey) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := seal.Write(&b, m, files, key); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func verify(t testing.TB, b []byte) *seal.Report {
	t.Helper()
	rep, err := seal.Verify(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// A record is intact, holds what was given, and is the same bytes whatever the
// order the files were given in. Another zip reader finds the same in it.
func TestIntact(t *testing.T) {
	b := sealed(t, manifest(), files(), keyOf(1))
	rep := verify(t, b)
	if !rep.Intact() {
		t.Fatalf("%+v", rep.Problems)
	}
	if !rep.Signer.Equal(keyOf(1).Public()) || rep.Manifest.Title != `Pump "3", ±2 %` || rep.Manifest.Missing[0] != "entries 4 to 6" {
		t.Errorf("%+v", rep)
	}
	turned := files()
	slices.Reverse(turned)
	if !bytes.Equal(b, sealed(t, manifest(), turned, keyOf(1))) {
		t.Error("the order in which files are given shows in the record")
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range z.File {
		names = append(names, f.Name)
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(in) // checks the CRC
		if err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
		for _, s := range files() {
			if want, _ := io.ReadAll(s.SectionReader); s.Name == f.Name && !bytes.Equal(got, want) {
				t.Errorf("%s holds something else", s.Name)
			}
		}
		own, _ := io.ReadAll(rep.Open(bytes.NewReader(b), f.Name))
		if !bytes.Equal(own, got) {
			t.Errorf("%s: Open gives something else", f.Name)
		}
	}
	if want := []string{"check.json", "empty.txt", "plan/lift.yaml", "readings.csv", "sheets/Größe.pdf", "sheets/b.pdf", "signer.pem", "manifest.json", "manifest.sig"}; !slices.Equal(names, want) {
		t.Errorf("entries %q", names)
	}
}

// many is how many corruptions are tried: all 10,000 with
// PLUMBHOOK_CORRUPTIONS=10000, fewer in a usual run.
func many(t *testing.T) int {
	n := 1000
	if s := os.Getenv("PLUMBHOOK_CORRUPTIONS"); s != "" {
		if _, err := fmt.Sscan(s, &n); err != nil {
			t.Fatal(err)
		}
	}
	return n
}

// Every changed byte is found, and the file that it is in is named, with the
// chunk where it has some. The places are drawn so that headers, which are few
// bytes, have their share.
func TestOneByte(t *testing.T) {
	b := sealed(t, manifest(), files(), keyOf(1))
	places := layout(t, b)
	r := rand.New(rand.NewPCG(7, 7))
	for range many(t) {
		p := places[r.IntN(len(places))]
		at := p.from + r.Int64N(p.to-p.from)
		flip := byte(1 + r.IntN(255))
		b[at] ^= flip
		rep := verify(t, b)
		b[at] ^= flip
		switch {
		case rep.Intact():
			t.Fatalf("byte %d (%s) ^ %#x was not found", at, p.name, flip)
		case p.chunk > 0 && !slices.ContainsFunc(rep.Problems, func(x seal.Problem) bool { return x.File == p.name && x.Chunk == p.chunk }):
			t.Fatalf("byte %d in chunk %d of %s: said %+v", at, p.chunk, p.name, rep.Problems)
		case !slices.ContainsFunc(rep.Problems, func(x seal.Problem) bool { return x.File == p.name }):
			t.Fatalf("byte %d of %q: said %+v", at, p.name, rep.Problems)
		}
	}
	if !verify(t, b).Intact() {
		t.Fatal("the test did not put a byte back")
	}
}

// part is a stretch of a record: a chunk, a header.
type part struct {
	name     string
	chunk    int
	from, to int64
}

// layout is where the parts of a record are, by another reader.
func layout(t *testing.T, b []byte) (parts []part) {
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	at := int64(0)
	directory := int64(binary.LittleEndian.Uint32(b[len(b)-6:]))
	for _, f := range z.File {
		off, _ := f.DataOffset()
		parts = append(parts, part{f.Name, 0, at, off})
		size, chunk := int64(f.UncompressedSize64), 0
		for k := int64(0); k < size; k += 64 << 10 {
			if !strings.HasPrefix(f.Name, "manifest") {
				chunk++
			}
			parts = append(parts, part{f.Name, chunk, off + k, off + min(size, k+64<<10)})
		}
		at = off + size
	}
	for _, f := range z.File {
		n := int64(46 + len(f.Name))
		parts = append(parts, part{f.Name, 0, directory, directory + n})
		directory += n
	}
	return append(parts, part{"", 0, directory, int64(len(b))})
}

// A record cut anywhere, or with something added, is not intact.
func TestCutAndGrown(t *testing.T) {
	small := []seal.Source{seal.Bytes("a.txt", []byte("one")), seal.Bytes("b.txt", []byte("two"))}
	b := sealed(t, manifest(), small, keyOf(1))
	for n := range len(b) {
		if verify(t, b[:n]).Intact() {
			t.Fatalf("cut to %d bytes passes", n)
		}
		if verify(t, b[len(b)-n:]).Intact() {
			t.Fatalf("the last %d bytes pass", n)
		}
		if verify(t, slices.Concat(b[:n], []byte{0}, b[n:])).Intact() {
			t.Fatalf("a byte put in at %d passes", n)
		}
		if verify(t, slices.Concat(b[:n], b[n+1:])).Intact() {
			t.Fatalf("without byte %d it passes", n)
		}
	}
	for _, tail := range []string{"\x00", "\n", "PK\x05\x06", strings.Repeat("x", 70000)} {
		if rep := verify(t, append(slices.Clone(b), tail...)); rep.Intact() || rep.Problems[0].Kind != seal.Trailing {
			t.Errorf("with %d bytes behind: %+v", len(tail), rep.Problems)
		}
	}
	large := sealed(t, manifest(), files(), keyOf(1))
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := r.IntN(len(large))
		rep := verify(t, large[:n])
		if rep.Intact() {
			t.Fatalf("cut to %d bytes passes", n)
		}
	}
	for _, p := range layout(t, large) {
		if p.name == "readings.csv" && p.chunk == 2 {
			b := slices.Concat(large[:p.from+9], large[p.to-9:])
			rep := verify(t, b)
			if !slices.ContainsFunc(rep.Problems, func(x seal.Problem) bool { return x.File == p.name && x.Chunk == 2 }) {
				t.Errorf("bytes taken out of chunk 2: %+v", rep.Problems)
			}
			if says := verify(t, large[:p.from+9]).Problems; len(says) == 0 || says[0].Kind != seal.Unlisted {
				t.Errorf("cut before the manifest: %+v", says)
			}
		}
	}
}

// repack writes the contents of a record again, as a program would that takes
// it for any zip archive; change may alter the list.
func repack(t testing.TB, b []byte, method uint16, change func([]*zip.FileHeader, map[string][]byte) []*zip.FileHeader) []byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	text := map[string][]byte{}
	var list []*zip.FileHeader
	for _, f := range z.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text[f.Name], err = io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, &zip.FileHeader{Name: f.Name, Method: method})
	}
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	w.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, 9) })
	for _, h := range change(list, text) {
		e, err := w.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		e.Write(text[h.Name])
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// What is done to a record as a whole is found and said in those words.
func TestStructure(t *testing.T) {
	whole := sealed(t, manifest(), files(), keyOf(1))
	same := func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader { return l }
	at := func(l []*zip.FileHeader, name string) int {
		return slices.IndexFunc(l, func(h *zip.FileHeader) bool { return h.Name == name })
	}
	for _, c := range []struct {
		name   string
		method uint16
		change func([]*zip.FileHeader, map[string][]byte) []*zip.FileHeader
		kind   seal.Kind
		file   string
		says   string
	}{
		{"stored anew", zip.Store, same, seal.Form, "", "written anew"},
		{"packed anew", zip.Deflate, same, seal.Form, "check.json", "packed"},
		{"one left out", zip.Store, func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader {
			return slices.Delete(l, at(l, "check.json"), at(l, "check.json")+1)
		}, seal.Missing, "check.json", "missing"},
		{"signature left out", zip.Store, func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader { return l[:len(l)-1] }, seal.Missing, "manifest.sig", "missing"},
		{"manifest left out", zip.Store, func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader {
			return slices.Delete(l, at(l, "manifest.json"), at(l, "manifest.json")+1)
		}, seal.Unlisted, "manifest.json", "not there"},
		{"one put in", zip.Store, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["note.txt"] = []byte("all was well")
			return append(l, &zip.FileHeader{Name: "note.txt"})
		}, seal.Foreign, "note.txt", "not sealed"},
		{"one that would climb out", zip.Store, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["../../x"] = []byte("x")
			return append(l, &zip.FileHeader{Name: "../../x"})
		}, seal.Foreign, "../../x", "not sealed"},
		{"one twice", zip.Store, func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader {
			return append(l, &zip.FileHeader{Name: "check.json"})
		}, seal.Twice, "check.json", "2 times"},
		{"entries swapped", zip.Store, func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader {
			l[0], l[3] = l[3], l[0]
			return l
		}, seal.Swapped, "readings.csv", "where check.json belongs"},
		{"contents swapped", zip.Store, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["sheets/Größe.pdf"], text["sheets/b.pdf"] = text["sheets/b.pdf"], text["sheets/Größe.pdf"]
			return l
		}, seal.Swapped, "sheets/b.pdf", "contents of sheets/Größe.pdf"},
		{"contents changed", zip.Deflate, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["readings.csv"][70000] ^= 1
			return l
		}, seal.Changed, "readings.csv", "chunk 2 of 4"},
		{"contents longer", zip.Store, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["check.json"] = append(text["check.json"], '\n')
			return l
		}, seal.Changed, "check.json", "4 bytes, sealed were 3"},
		{"manifest changed", zip.Store, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["manifest.json"] = bytes.Replace(text["manifest.json"], []byte(`"readings": 3`), []byte(`"readings": 4`), 1)
			return l
		}, seal.Signature, "manifest.sig", "signature"},
		{"manifest spelled otherwise", zip.Store, func(l []*zip.FileHeader, text map[string][]byte) []*zip.FileHeader {
			text["manifest.json"] = bytes.Replace(text["manifest.json"], []byte(`"readings": 3`), []byte(`"readings":  3`), 1)
			return l
		}, seal.Unlisted, "manifest.json", "not spelled"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rep := verify(t, repack(t, whole, c.method, c.change))
			if !slices.ContainsFunc(rep.Problems, func(p seal.Problem) bool {
				return p.Kind == c.kind && p.File == c.file && strings.Contains(p.Text, c.says)
			}) {
				t.Errorf("want %s of %q, %q; said %+v", c.kind, c.file, c.says, rep.Problems)
			}
		})
	}
}

// Contents exchanged where they stand, headers and all else put right.
func TestSwappedInPlace(t *testing.T) {
	b := sealed(t, manifest(), files(), keyOf(1))
	var one, two part
	for _, p := range layout(t, b) {
		switch {
		case p.name == "readings.csv" && p.chunk == 1:
			one = p
		case p.name == "readings.csv" && p.chunk == 3:
			two = p
		}
	}
	first := slices.Clone(b[one.from:one.to])
	copy(b[one.from:one.to], b[two.from:two.to])
	copy(b[two.from:two.to], first)
	rep := verify(t, b)
	if len(rep.Problems) == 0 || rep.Problems[0].Kind != seal.Swapped || rep.Problems[0].Text != "chunk 1 of 4 holds chunk 3" {
		t.Errorf("%+v", rep.Problems)
	}
}

// A forger who signs anew with a key of his own makes an intact record, of
// another signer; with the signer's file left as it was, not even that.
func TestForged(t *testing.T) {
	m := manifest()
	m.Readings = 4
	rep := verify(t, sealed(t, m, files(), keyOf(2)))
	if !rep.Intact() || rep.Signer.Equal(keyOf(1).Public()) {
		t.Errorf("%+v", rep)
	}
}

// Records follow one another in one way only.
func TestChain(t *testing.T) {
	dir := t.TempDir()
	s, made, err := seal.OpenSigner(dir, "")
	if err != nil || !made {
		t.Fatal(made, err)
	}
	info, err := os.Stat(dir + "/key.pem")
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key has rights %v, %v", info.Mode(), err)
	}
	var reports []*seal.Report
	for _, name := range []string{"/a.zip", "/b.zip", "/c.zip"} {
		m := manifest()
		m.Title += "\n9 lines" + name
		rep, err := s.Seal(dir+name, m, files())
		if err != nil {
			t.Fatal(err)
		}
		reports = append(reports, rep)
		last, err := s.Last()
		if err != nil || last.Head != rep.Head || last.Number != uint64(len(reports)) {
			t.Errorf("head %+v, %v; sealed %s", last, err, rep.Head)
		}
	}
	if err := cmp.Or(reports[1].Follows(reports[0]), reports[2].Follows(reports[1])); err != nil {
		t.Error(err)
	}
	for _, p := range [][2]int{{2, 0}, {0, 0}, {0, 1}, {1, 1}, {1, 2}} {
		if reports[p[0]].Follows(reports[p[1]]) == nil {
			t.Errorf("record %d follows record %d", p[0]+1, p[1]+1)
		}
	}
	if _, err := s.Seal(dir+"/c.zip", manifest(), files()); err == nil {
		t.Error("a record was written over")
	}
	again, made, err := seal.OpenSigner(dir, "")
	if err != nil || made || !again.Public().Equal(s.Public()) {
		t.Error("the key is another one", made, err)
	}
	if other, err := seal.ParsePublic(again.PublicPEM()); err != nil || !other.Equal(s.Public()) {
		t.Error(err)
	}

	os.Chmod(dir+"/key.pem", 0o640)
	if _, _, err := seal.OpenSigner(dir, ""); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a key that others may read: %v", err)
	}
	os.Remove(dir + "/key.pem")
	if _, _, err := seal.OpenSigner(dir, ""); err == nil {
		t.Error("a chain went on with a new key")
	}
	for _, text := range []string{"1 x y z\n", "2 " + strings.Repeat("a", 64) + " t t\n", "1 " + strings.Repeat("a", 64) + " t t"} {
		os.WriteFile(dir+"/chain.txt", []byte(text), 0o600)
		if _, err := s.Last(); err == nil {
			t.Errorf("chain %q passes", text)
		}
	}
}

// A countersignature is checked when it is there, and may be replaced; the
// record stays the same otherwise.
func TestCountersign(t *testing.T) {
	b := sealed(t, manifest(), files(), keyOf(1))
	at := time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)
	sign := func(b []byte, key byte) []byte {
		var out bytes.Buffer
		if err := seal.Countersign(&out, bytes.NewReader(b), int64(len(b)), keyOf(key), at); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	with := sign(b, 9)
	rep := verify(t, with)
	if !rep.Intact() || rep.Counter == nil || !rep.Counter.Key.Equal(keyOf(9).Public()) || !rep.Counter.At.Equal(at) || rep.Head != verify(t, b).Head {
		t.Fatalf("%+v", rep)
	}
	if !bytes.Equal(sign(with, 8), sign(b, 8)) {
		t.Error("the second countersignature did not take the place of the first")
	}
	m := manifest()
	m.Readings++
	other := sign(sealed(t, m, files(), keyOf(1)), 9)
	text := bytes.Index(other, []byte("plumbhook countersignature 1"))
	here := bytes.Index(with, []byte("plumbhook countersignature 1"))
	copy(with[here:], other[text:text+344])
	if rep := verify(t, with); rep.Intact() || !strings.Contains(rep.Problems[0].Text, "another record") {
		t.Errorf("a countersignature of another record: %+v", rep.Problems)
	}
	b[len(b)-1] ^= 1
	if seal.Countersign(io.Discard, bytes.NewReader(b), int64(len(b)), keyOf(9), at) == nil {
		t.Error("a damaged record was countersigned")
	}
}

func TestNames(t *testing.T) {
	for _, c := range []struct {
		names string // parted by blanks
		ok    bool
	}{
		{"a b/c b/d", true},
		{"Größe.yaml", true},
		{"../a", false},
		{"/a", false},
		{"a/../b", false},
		{"a//b", false},
		{"a/./b", false},
		{`a\b`, false},
		{"c:a", false},
		{"con", false},
		{"x/NUL.txt", false},
		{"com1.csv", false},
		{"common.csv", true},
		{"a.", false},
		{"a\x00", false},
		{"a\u202eb", false},
		{"\xff", false},
		{"u\u0308.txt", false}, // not composed
		{"a A", false},
		{"straße STRASSE", false},
		{"a a", false},
		{"a a/b", false},
		{"manifest.json", false},
		{"Manifest.sig", false},
		{"countersignature.txt", false},
		{"signer.pem", false},
		{strings.Repeat("a", 201), false},
		{".", false},
	} {
		var list []seal.Source
		for name := range strings.SplitSeq(c.names, " ") {
			list = append(list, seal.Bytes(name, []byte("x")))
		}
		if _, err := seal.Write(io.Discard, manifest(), list, keyOf(1)); (err == nil) != c.ok {
			t.Errorf("%q: %v", c.names, err)
		}
	}
}

// Whatever is sealed is intact, and comes back.
func TestAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []seal.Source
		for i, n := range rapid.SliceOfN(rapid.SampledFrom([]int{0, 1, 100, 65535, 65536, 65537}), 0, 4).Draw(t, "sizes") {
			list = append(list, seal.Bytes(fmt.Sprintf("f%d", i), bytes.Repeat([]byte{byte(i)}, n)))
		}
		m := manifest()
		m.Title, m.Revision = rapid.String().Draw(t, "title"), string(rapid.SliceOfN(rapid.Byte(), 0, 9).Draw(t, "revision"))
		m.Missing = rapid.SliceOfN(rapid.String(), 0, 3).Draw(t, "missing")
		m.Keep = m.Keep[:rapid.IntRange(0, 1).Draw(t, "keep")]
		var b bytes.Buffer
		if _, err := seal.Write(&b, m, list, keyOf(1)); err != nil {
			t.Fatal(err)
		}
		rep, err := seal.Verify(bytes.NewReader(b.Bytes()), int64(b.Len()))
		if err != nil || !rep.Intact() {
			t.Fatalf("%v %+v", err, rep.Problems)
		}
		if rep.Manifest.Title != strings.ToValidUTF8(m.Title, "\uFFFD") {
			t.Fatalf("title %q", rep.Manifest.Title)
		}
	})
}

// Hostile bytes end in a report. What passes for intact is, byte for byte,
// what writing its contents again gives.
func FuzzVerify(f *testing.F) {
	small := []seal.Source{seal.Bytes("a.txt", []byte("one"))}
	b := sealed(f, manifest(), small, keyOf(1))
	f.Add(b)
	f.Add(b[:len(b)-30])
	f.Add(b[10:])
	same := func(l []*zip.FileHeader, _ map[string][]byte) []*zip.FileHeader { return l }
	f.Add(repack(f, b, zip.Deflate, same))
	f.Add(repack(f, b, zip.Store, same))
	var with bytes.Buffer
	seal.Countersign(&with, bytes.NewReader(b), int64(len(b)), keyOf(9), time.Unix(0, 0))
	f.Add(with.Bytes())
	f.Fuzz(func(t *testing.T, in []byte) {
		rep, err := seal.Verify(bytes.NewReader(in), int64(len(in)))
		if err != nil {
			t.Fatal(err)
		}
		if len(rep.Problems) > 200 {
			t.Fatalf("%d problems", len(rep.Problems))
		}
		if rep.Intact() && !bytes.HasPrefix(in, b[:30]) && !rep.Signer.Equal(keyOf(1).Public()) {
			t.Fatal("signed by nobody that this test knows")
		}
		if rep.Intact() && rep.Counter == nil {
			var again bytes.Buffer
			var list []seal.Source
			for _, x := range rep.Manifest.Files {
				if x.Name != "signer.pem" {
					list = append(list, seal.Source{Name: x.Name, SectionReader: rep.Open(bytes.NewReader(in), x.Name)})
				}
			}
			if _, err := seal.Write(&again, rep.Manifest, list, keyOf(1)); err != nil || !bytes.Equal(again.Bytes(), in) {
				t.Fatalf("intact, and not what writing gives: %v", err)
			}
		}
	})
}

// BenchmarkVerify is of a record of 32 MB.
func BenchmarkVerify(b *testing.B) {
	big := make([]byte, 32<<20)
	rand.NewChaCha8([32]byte{}).Read(big)
	in := sealed(b, manifest(), []seal.Source{seal.Bytes("readings.csv", big)}, keyOf(1))
	b.SetBytes(int64(len(in)))
	b.ReportAllocs()
	for b.Loop() {
		if !verify(b, in).Intact() {
			b.Fatal("not intact")
		}
	}
}

// The periods: two years of LOLER, twelve months of 29 CFR; a day that a year
// does not have is the next one.
func TestKeepUntil(t *testing.T) {
	day := time.Date(2028, 2, 29, 23, 0, 0, 0, time.UTC)
	for family, want := range map[string]string{"eu": "2030-03-01", "us": "2029-03-01", "": "2030-03-01 2029-03-01"} {
		var got []string
		for _, k := range seal.KeepUntil(family, day) {
			got = append(got, k.Until)
			if k.Rule == "" || k.Source == "" {
				t.Errorf("%+v", k)
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q: %v, want %s", family, got, want)
		}
	}
}

// Sealing at once, each gets a number of its own or is told to come again;
// the chain stays one row.
func TestSealedAtOnce(t *testing.T) {
	dir := t.TempDir()
	var done atomic.Int64
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			s, _, err := seal.OpenSigner(dir, "")
			if err != nil {
				return // another makes the key just now
			}
			if _, err := s.Seal(fmt.Sprintf("%s/%d.zip", dir, i), manifest(), files()[1:3]); err == nil {
				done.Add(1)
			}
		})
	}
	wg.Wait()
	s, _, err := seal.OpenSigner(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	last, err := s.Last()
	if err != nil || int64(last.Number) != done.Load() || last.Number == 0 {
		t.Errorf("chain ends with %+v, %v; %d were sealed", last, err, done.Load())
	}
	numbers := map[uint64]bool{}
	for i := range 8 {
		b, err := os.ReadFile(fmt.Sprintf("%s/%d.zip", dir, i))
		if err == nil {
			rep := verify(t, b)
			if !rep.Intact() || numbers[rep.Manifest.Number] {
				t.Errorf("%d.zip: number %d, %+v", i, rep.Manifest.Number, rep.Problems)
			}
			numbers[rep.Manifest.Number] = true
		}
	}
	if int64(len(numbers)) != done.Load() {
		t.Errorf("%d records, %d were sealed", len(numbers), done.Load())
	}
}

// A record that cannot be written leaves the chain as it was, and nothing
// behind; a file that others change while it is sealed is noticed.
func TestSealFails(t *testing.T) {
	dir := t.TempDir()
	s, _, err := seal.OpenSigner(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	for what, src := range map[string]seal.Source{
		"shrinks": {Name: "x", SectionReader: io.NewSectionReader(bytes.NewReader(make([]byte, 10)), 0, 20)},
		"changes": {Name: "x", SectionReader: io.NewSectionReader(&restless{}, 0, 100)},
		"a name":  seal.Bytes("../x", nil),
	} {
		if _, err := s.Seal(dir+"/x.zip", manifest(), []seal.Source{src}); err == nil {
			t.Errorf("%s: sealed", what)
		}
	}
	left, _ := os.ReadDir(dir)
	for _, f := range left {
		if strings.HasPrefix(f.Name(), "x.zip") || f.Name() == "chain.txt" {
			t.Errorf("left behind: %s", f.Name())
		}
	}
}

// restless reads as something else each time.
type restless struct{ n byte }

func (r *restless) ReadAt(b []byte, _ int64) (int, error) {
	r.n++
	for i := range b {
		b[i] = r.n
	}
	return len(b), nil
}
