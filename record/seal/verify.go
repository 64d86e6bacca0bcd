package seal

import (
	"bytes"
	"compress/flate"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"io"
	"slices"

	"plumbhook/fault"
)

// A Kind is a class of what can be wrong with a record.
type Kind string

// The kinds. Foreign is an entry whose name the manifest does not have; Form
// is contents as sealed in an archive that is written otherwise.
const (
	Changed   Kind = "changed"
	Missing   Kind = "missing"
	Foreign   Kind = "extra"
	Twice     Kind = "duplicate"
	Swapped   Kind = "swapped"
	Cut       Kind = "cut"
	Trailing  Kind = "trailing"
	Form      Kind = "not_canonical"
	Signature Kind = "signature"
	Unlisted  Kind = "manifest" // it cannot be told what was sealed
)

// A Problem is one thing that is wrong.
type Problem struct {
	Kind     Kind
	File     string // empty: the archive as a whole
	Chunk    int    // of the file, from 1; 0: no one of them
	From, To int64  // bytes of the record that it concerns, To not included; both 0: not told
	Text     string // a sentence without its stop
}

// mostProblems is how many are told one by one.
const mostProblems = 100

// A Report is what verifying a record showed.
type Report struct {
	Manifest *Manifest // nil when it cannot be read
	Head     string    // SHA-256 of the manifest, hexadecimal
	Signer   ed25519.PublicKey
	Counter  *Countersignature // nil: none
	Problems []Problem
	More     int // problems that are not listed

	entries []entry
}

// Intact tells whether every byte is as it was sealed by the holder of the key
// that the record names. Whose that is, it cannot say.
func (r *Report) Intact() bool { return len(r.Problems) == 0 }

// Follows says why the record is not the one sealed next after another.
func (r *Report) Follows(before *Report) error {
	switch {
	case r.Manifest == nil || before.Manifest == nil || !before.Intact():
		return fault.New(fault.Disagree, "the record before is not intact").Fix("verify it by itself to see why")
	case r.Manifest.Before != before.Head || r.Manifest.Number != before.Manifest.Number+1:
		return fault.New(fault.Disagree, "it does not follow: it is number %d after %s, and the other is number %d, %s",
			r.Manifest.Number, orNone(r.Manifest.Before), before.Manifest.Number, before.Head).Fix("look for a record that was left out or put in")
	case !r.Signer.Equal(before.Signer):
		return fault.New(fault.Disagree, "another key signed the record before")
	}
	return nil
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func (r *Report) add(p Problem) {
	if len(r.Problems) >= mostProblems {
		r.More++
		return
	}
	r.Problems = append(r.Problems, p)
}

// parts gives the entries of an intact record with their contents, without a
// countersignature.
func (r *Report) parts(from io.ReaderAt) []content {
	var out []content
	for _, e := range r.entries {
		if e.name != counterName {
			out = append(out, content{e, io.NewSectionReader(from, e.data(), e.size)})
		}
	}
	return out
}

// Open gives the contents of a file of an intact record; nil when it has none
// of that name.
func (r *Report) Open(from io.ReaderAt, name string) *io.SectionReader {
	for _, e := range r.entries {
		if r.Intact() && e.name == name {
			return io.NewSectionReader(from, e.data(), e.size)
		}
	}
	return nil
}

// Verify works out what every byte of a record must be and says where the
// file differs. The error is that of reading; a file that is no record at all
// is one with problems. Time and memory are bounded by the size of the file
// and the bounds of the format, whatever the file says.
func Verify(from io.ReaderAt, size int64) (*Report, error) {
	v := &verifier{span: span{r: from, size: size}, Report: &Report{}}
	list, whole := scan(&v.span)
	text := v.manifest(list)
	if v.Manifest == nil {
		if !whole {
			v.add(Problem{Kind: Cut, Text: fmt.Sprintf("the directory at the end is not there or damaged; the file has %d bytes", size)})
		}
		return v.Report, v.readable()
	}
	v.exact(text)
	if !v.Intact() && whole && v.otherwise(list) {
		exact := *v.Report
		v.Problems, v.More = nil, 0
		v.structure(list, text)
		switch first := exact.Problems[0].Kind; {
		case !v.Intact():
		case first == Cut || first == Trailing:
			v.add(Problem{Kind: Form, Text: "the files are as sealed, but the archive was written anew: its headers are not those of a record, which has one form only"})
		default:
			*v.Report = exact
		}
	}
	return v.Report, v.readable()
}

type verifier struct {
	span
	*Report
}

func (v *verifier) readable() error {
	if v.err == nil {
		return nil
	}
	return fault.New(fault.Path, "the record cannot be read to its end").Because(v.err).Fix("check the disk, and copy it anew")
}

// manifest finds the manifest and gives its text.
func (v *verifier) manifest(list []found) []byte {
	why := "manifest.json is not there"
	try := func(text []byte) bool {
		m, err := parseManifest(text)
		if err != nil {
			why = "manifest.json is not as sealed: " + err.Error()
			return false
		}
		v.Manifest, v.Head = m, hash(text)
		return true
	}
	tries := 4
	for _, f := range list {
		if f.name == manifestName && tries > 0 {
			tries--
			if text := v.unpacked(&f, maxManifest); try(text) {
				return text
			}
		}
	}
	if text := search(&v.span); text != nil && try(text) {
		return text
	}
	v.add(Problem{Kind: Unlisted, File: manifestName, Text: why + ", so that it cannot be told what was sealed"})
	return nil
}

// exact goes through the record from its first byte to its last.
func (v *verifier) exact(text []byte) {
	for i := range v.Manifest.Files {
		f := &v.Manifest.Files[i]
		v.entries = append(v.entries, entry{name: f.Name, size: f.Size})
	}
	v.entries = append(v.entries, entry{name: manifestName, size: int64(len(text))}, entry{name: signatureName, size: ed25519.SignatureSize})
	directory, total := place(v.entries)
	if with := append(slices.Clone(v.entries), entry{name: counterName, size: counterSize}); v.size != total {
		if d, t := place(with); v.size == t {
			v.entries, directory, total = with, d, t
		}
	}
	switch {
	case v.size < total:
		v.add(Problem{Kind: Cut, From: v.size, To: total, Text: fmt.Sprintf("the file ends %d bytes early, %s", total-v.size, v.at(v.size))})
	case v.size > total:
		v.add(Problem{Kind: Trailing, From: total, To: v.size, Text: fmt.Sprintf("the file has %d bytes more than were sealed", v.size-total)})
	}

	for i := range v.entries {
		e := &v.entries[i]
		if e.end() > v.size {
			return
		}
		before, listed := len(v.Problems)+v.More, i < len(v.Manifest.Files)
		if listed {
			v.file(e, &v.Manifest.Files[i])
		} else {
			b := v.bytes(e.data(), int(e.size))
			e.crc = crc32.ChecksumIEEE(b)
			v.own(e, b, text)
		}
		v.header(e, "the header before it", e.off, e.local(nil), crcAt, len(v.Problems)+v.More == before)
	}
	off := directory
	for i := range v.entries {
		e := &v.entries[i]
		want := e.central(nil)
		if off+int64(len(want)) > v.size {
			return
		}
		v.header(e, "its line in the directory", off, want, crcAt+2, v.Intact())
		off += int64(len(want))
	}
	if total <= v.size {
		v.header(&entry{}, "the end of the directory", off, appendEnd(nil, len(v.entries), off-directory, directory), 0, true)
	}
	if v.Signer == nil && v.Intact() {
		v.add(Problem{Kind: Signature, File: signerName, Text: "signer.pem is not there, so that the signature cannot be checked"})
	}
}

// at says in words where a byte of the record is.
func (v *verifier) at(off int64) string {
	for i := range v.entries {
		e := &v.entries[i]
		switch {
		case off < e.data():
			return "before " + e.name
		case off < e.end():
			return fmt.Sprintf("in chunk %d of %s", (off-e.data())/chunkSize+1, e.name)
		}
	}
	return "in the directory"
}

// file holds the contents of a file against its checksums, and takes the key
// where it stands in it.
func (v *verifier) file(e *entry, f *File) {
	whole, crc := sha256.New(), crc32.NewIEEE()
	good := true
	for i, want := range f.Chunks {
		off := int64(i) * chunkSize
		b := v.bytes(e.data()+off, int(min(chunkSize, f.Size-off)))
		whole.Write(b)
		crc.Write(b)
		got := hash(b)
		if got == want {
			continue
		}
		good = false
		p := Problem{Kind: Changed, File: f.Name, Chunk: i + 1, From: e.data() + off, To: e.data() + off + int64(len(b))}
		p.Text = fmt.Sprintf("chunk %d of %d is not as sealed", p.Chunk, len(f.Chunks))
		if len(v.Problems) < mostProblems {
			if k := slices.Index(f.Chunks, got); k >= 0 {
				p.Kind, p.Text = Swapped, fmt.Sprintf("chunk %d of %d holds chunk %d", p.Chunk, len(f.Chunks), k+1)
			}
		}
		v.add(p)
	}
	e.crc = crc.Sum32()
	switch sum := hex.EncodeToString(whole.Sum(nil)); {
	case sum == f.SHA256:
	case good:
		v.add(Problem{Kind: Unlisted, File: f.Name, Text: "the manifest gives checksums of it that do not go together"})
	default:
		v.others(f, sum)
	}
	if good && f.Name == signerName && f.Size < 1<<10 {
		b := v.bytes(e.data(), int(f.Size))
		if key, err := ParsePublic(b); err == nil && bytes.Equal(publicPEM(key), b) {
			v.Signer = key
		}
	}
}

// others tells of a file that holds what belongs to another.
func (v *verifier) others(f *File, sum string) {
	for i := range v.Manifest.Files {
		if o := &v.Manifest.Files[i]; o.SHA256 == sum && o.Name != f.Name {
			v.add(Problem{Kind: Swapped, File: f.Name, Text: "it holds the contents of " + o.Name})
			return
		}
	}
}

const notSigned = "the signature is not one of manifest.json by the key in signer.pem: one of the three was changed"

// own judges what the seal itself adds to the files.
func (v *verifier) own(e *entry, b, text []byte) {
	p := Problem{Kind: Changed, File: e.name, From: e.data(), To: e.end(), Text: "it is not as sealed"}
	switch e.name {
	case manifestName:
		if !bytes.Equal(b, text) {
			v.add(p)
		}
	case signatureName:
		if v.Signer != nil && !ed25519.Verify(v.Signer, text, b) {
			p.Kind, p.Text = Signature, notSigned
			v.add(p)
		}
	case counterName:
		c, err := parseCounter(b)
		switch {
		case err != nil:
			p.Text = "the countersignature does not hold: " + err.Error()
			v.add(p)
		case c.Manifest != v.Head:
			p.Text = "the countersignature is one of another record"
			v.add(p)
		default:
			v.Counter = c
		}
	}
}

// header compares a header byte for byte; of contents that are not as sealed,
// its checksum is not known.
func (v *verifier) header(e *entry, what string, off int64, want []byte, crc int, known bool) {
	got := v.bytes(off, len(want))
	for i := range want {
		if i < len(got) && got[i] == want[i] || !known && i >= crc && i < crc+4 {
			continue
		}
		v.add(Problem{Kind: Changed, File: e.name, From: off, To: off + int64(len(want)), Text: fmt.Sprintf("%s is not as sealed at byte %d", what, i)})
		return
	}
}

// otherwise tells whether the directory lists other entries than the manifest
// has, or has them elsewhere.
func (v *verifier) otherwise(list []found) bool {
	return !slices.EqualFunc(list, v.entries, func(f found, e entry) bool {
		return f.name == e.name && f.off == e.off && f.at == e.data() && f.size == e.size && f.method == 0
	})
}

// structure says how an archive that a directory fits differs from the record.
func (v *verifier) structure(list []found, text []byte) {
	count, where := map[string]int{}, map[string]*found{}
	var order []string
	for i := range list {
		f := &list[i]
		if count[f.name]++; count[f.name] == 1 {
			where[f.name] = f
			order = append(order, f.name)
		}
	}
	var due []string
	for i := range v.entries {
		e := &v.entries[i]
		switch n := count[e.name]; {
		case n == 0 && e.name == counterName:
		case n == 0:
			v.add(Problem{Kind: Missing, File: e.name, Text: "it is missing"})
		case n > 1:
			v.add(Problem{Kind: Twice, File: e.name, Text: fmt.Sprintf("it stands there %d times", n)})
			fallthrough
		default:
			due = append(due, e.name)
		}
	}
	order = slices.DeleteFunc(order, func(name string) bool {
		if slices.Contains(due, name) {
			return false
		}
		if name != counterName {
			v.add(Problem{Kind: Foreign, File: name, Text: "it was not sealed"})
		}
		return true
	})
	for i := range due {
		if order[i] != due[i] {
			v.add(Problem{Kind: Swapped, File: order[i], Text: "it stands where " + due[i] + " belongs"})
			break
		}
	}
	for i := range v.Manifest.Files {
		f := &v.Manifest.Files[i]
		if at := where[f.Name]; at != nil {
			v.check(f, at)
		}
	}
	if at := where[manifestName]; at != nil && at.crc != crc32.ChecksumIEEE(text) {
		v.add(Problem{Kind: Changed, File: manifestName, Text: "it is not as it was put into the archive"})
	}
	v.Signer = nil
	if key, sig := where[signerName], where[signatureName]; key != nil && sig != nil {
		pub, err := ParsePublic(v.unpacked(key, 1<<10))
		if err != nil || !ed25519.Verify(pub, text, v.unpacked(sig, ed25519.SignatureSize)) {
			v.add(Problem{Kind: Signature, File: signatureName, Text: notSigned})
		} else {
			v.Signer = pub
		}
	}
}

// open gives the contents of an entry that stands anywhere, packed or not; nil
// when it is packed in a way that is not known here.
func (v *verifier) open(at *found) io.Reader {
	in := io.NewSectionReader(v.r, at.at, at.packed)
	switch at.method {
	case 0:
		return in
	case 8:
		return flate.NewReader(in)
	}
	return nil
}

// unpacked gives the contents of a small one; nil when they are longer than
// most.
func (v *verifier) unpacked(at *found, most int64) []byte {
	in := v.open(at)
	if in == nil {
		return nil
	}
	b, err := io.ReadAll(io.LimitReader(in, most+1))
	if err != nil || int64(len(b)) > most {
		return nil
	}
	return b
}

// check holds a file that stands anywhere against its checksums.
func (v *verifier) check(f *File, at *found) {
	if at.method != 0 {
		v.add(Problem{Kind: Form, File: f.Name, Text: "it is packed; a record stores its files as they are"})
	}
	in := v.open(at)
	if in == nil || at.size != f.Size {
		v.add(Problem{Kind: Changed, File: f.Name, Text: fmt.Sprintf("it has %d bytes, sealed were %d", at.size, f.Size)})
		return
	}
	whole, buf := sha256.New(), make([]byte, chunkSize)
	good := true
	for i, want := range f.Chunks {
		b := buf[:min(chunkSize, f.Size-int64(i)*chunkSize)]
		if n, err := io.ReadFull(in, b); err != nil {
			v.add(Problem{Kind: Cut, File: f.Name, Chunk: i + 1, Text: fmt.Sprintf("it ends in chunk %d of %d, at byte %d", i+1, len(f.Chunks), i*chunkSize+n)})
			return
		}
		whole.Write(b)
		if hash(b) != want {
			good = false
			v.add(Problem{Kind: Changed, File: f.Name, Chunk: i + 1, Text: fmt.Sprintf("chunk %d of %d is not as sealed", i+1, len(f.Chunks))})
		}
	}
	if !good {
		v.others(f, hex.EncodeToString(whole.Sum(nil)))
	}
}
