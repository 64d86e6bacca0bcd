package seal

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"plumbhook/fault"
)

const (
	// chunkSize is how many bytes of a file have a checksum of their own.
	chunkSize = 64 << 10

	form        = "record 1" // the version of all of this
	maxManifest = 16 << 20
)

// A Manifest says what is sealed.
type Manifest struct {
	Number  uint64 // in the chain, from 1
	Before  string // SHA-256 of the manifest before, hexadecimal; empty for the first
	Sealed  time.Time
	Program string // that sealed it, and its version

	Title    string   // of the lift
	Revision string   // of its plan
	Plan     string   // SHA-256 of the lift file, hexadecimal
	From, To string   // time of the first and the last reading
	Readings uint64   // how many
	Missing  []string // what the record lacks, a sentence each

	Keep  []Keep
	Files []File
}

// Keep is a reason for which the record has to be kept, and until when at
// least.
type Keep struct {
	Until  string // a day, 2028-11-25
	Rule   string
	Source string
}

// A File is one file and its checksums (SHA-256), hexadecimal: of the whole,
// and of each 64 KiB.
type File struct {
	Name   string
	Size   int64
	SHA256 string
	Chunks []string
}

// encode is the one spelling of a manifest: keys in fixed order, a line for
// each value, texts with no more escapes than JSON asks for.
func (m *Manifest) encode() []byte {
	var b bytes.Buffer
	item := func(key, value string) { b.WriteString(" " + quote(key) + ": " + value + ",\n") }
	list := func(key string, n int, write func(i int)) {
		b.WriteString(" " + quote(key) + ": [")
		for i := range n {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString("\n  ")
			write(i)
		}
		b.WriteString("]")
	}
	b.WriteString("{\n")
	item("plumbhook", quote(form))
	item("number", strconv.FormatUint(m.Number, 10))
	item("before", quote(m.Before))
	item("sealed", quote(m.Sealed.UTC().Format(time.RFC3339)))
	item("program", quote(m.Program))
	item("title", quote(m.Title))
	item("revision", quote(m.Revision))
	item("plan", quote(m.Plan))
	item("from", quote(m.From))
	item("to", quote(m.To))
	item("readings", strconv.FormatUint(m.Readings, 10))
	list("missing", len(m.Missing), func(i int) { b.WriteString(quote(m.Missing[i])) })
	b.WriteString(",\n")
	list("keep", len(m.Keep), func(i int) {
		k := &m.Keep[i]
		b.WriteString(`{"until": ` + quote(k.Until) + `, "rule": ` + quote(k.Rule) + `, "source": ` + quote(k.Source) + "}")
	})
	b.WriteString(",\n")
	list("files", len(m.Files), func(i int) {
		f := &m.Files[i]
		b.WriteString(`{"name": ` + quote(f.Name) + `, "size": ` + strconv.FormatInt(f.Size, 10) + `, "sha256": ` + quote(f.SHA256) + `, "chunks": [`)
		for k, c := range f.Chunks {
			if k > 0 {
				b.WriteByte(',')
			}
			b.WriteString("\n   " + quote(c))
		}
		b.WriteString("]}")
	})
	b.WriteString("\n}\n")
	return b.Bytes()
}

// quote writes a text as JSON. What is no UTF-8 becomes U+FFFD.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20:
			b.WriteString(`\u00` + hex.EncodeToString([]byte{byte(r)}))
		case r == utf8.RuneError:
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// parseManifest reads what encode wrote, and nothing else.
func parseManifest(b []byte) (*Manifest, error) {
	if len(b) > maxManifest {
		return nil, fault.New(fault.TooLarge, "it is longer than %d bytes", maxManifest)
	}
	var in struct {
		Plumbhook string
		Manifest
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return nil, fault.New(fault.Syntax, "it is not well-formed").Because(err)
	}
	if in.Plumbhook != form {
		return nil, fault.New(fault.Unsupported, "its version is %q", in.Plumbhook).Fix("use a program that knows this version")
	}
	m := &in.Manifest
	if !bytes.Equal(m.encode(), b) {
		return nil, fault.New(fault.Syntax, "it is not spelled as a manifest is")
	}
	return m, m.check()
}

// check holds what a manifest says to what can be.
func (m *Manifest) check() error {
	if m.Number == 0 || (m.Number == 1) != (m.Before == "") || m.Before != "" && !isHash(m.Before) {
		return fault.New(fault.Range, "number %d does not go with the record before", m.Number)
	}
	if len(m.Files) > maxFiles {
		return fault.New(fault.TooLarge, "it has more than %d files", maxFiles)
	}
	names := make([]string, len(m.Files))
	total := int64(0)
	for i := range m.Files {
		f := &m.Files[i]
		names[i] = f.Name
		if f.Size < 0 || f.Size > maxTotal-total || int64(len(f.Chunks)) != (f.Size+chunkSize-1)/chunkSize || !isHash(f.SHA256) {
			return fault.New(fault.Range, "size and checksums do not go together").In(f.Name)
		}
		total += f.Size
		for _, c := range f.Chunks {
			if !isHash(c) {
				return fault.New(fault.Range, "a checksum is none").In(f.Name)
			}
		}
	}
	return checkNames(names)
}

func isHash(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 32 && strings.ToLower(s) == s
}
