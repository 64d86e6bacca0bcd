package register

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"plumbhook/fault"
)

// Event is a change as it was written down. Events of one item are numbered
// from 1 and never altered; when one is destroyed its body goes and all else
// stays.
type Event struct {
	Serial  string // as the item bears it
	Version int
	Stamp
	At      time.Time // when it was written down, UTC, to the microsecond
	Name    string    // of the change: entered, examined ...
	Body    []byte    // the change as JSON; nil once destroyed
	BodySum [32]byte  // SHA-256 of Body
	Sum     [32]byte  // SHA-256 over the sum of the event before, all of the above, and BodySum
}

// Entry is a change ready to be written: the event, and the item after it.
type Entry struct {
	Item   Item
	Event  Event
	Change Change // in the event's body
}

// Next applies a change to an item, which stays as it is, and gives what is to
// be written. At is the moment of writing.
func (it Item) Next(c Change, s Stamp, at time.Time) (Entry, error) {
	if f := text(s.By, maxWord); f != nil {
		return Entry{}, f.In("by")
	}
	if s.Day == "" {
		return Entry{}, fault.New(fault.Missing, "no day is given").In(it.Serial)
	}
	if it.Status == Scrapped {
		switch c.(type) {
		case Attaching, Destruction:
		default:
			return Entry{}, fault.New(fault.Disagree, "it was scrapped on %s: %s", it.StatusOn, it.Reason).In(it.Serial).Fix("what is scrapped stays scrapped")
		}
	}
	for _, f := range FilesOf(c) {
		if f := text(f.Name, 255); f != nil {
			return Entry{}, f.In("file name")
		}
	}
	n := it.clone()
	if err := c.check(&n, s); err != nil {
		return Entry{}, err
	}
	c.apply(&n, s)
	body := compact(c)
	e := Event{
		Serial: n.Serial, Version: it.Version + 1, Stamp: s, At: at.UTC().Truncate(time.Microsecond),
		Name: nameOf(c), Body: body, BodySum: sha256.Sum256(body),
	}
	e.Sum = e.link(it.Head)
	n.Version, n.Head = e.Version, e.Sum
	return Entry{n, e, c}, nil
}

// link is the event's checksum after the one with the sum prev.
func (e *Event) link(prev [32]byte) [32]byte {
	h := sha256.New()
	h.Write(prev[:])
	// Quoted, so that no two events write the same bytes.
	fmt.Fprintf(h, "%q %d %q %d %q %q", Key(e.Serial), e.Version, e.Day, e.At.UnixMicro(), e.By, e.Name)
	h.Write(e.BodySum[:])
	return [32]byte(h.Sum(nil))
}

// Change reads the event's body; nil without an error for a destroyed one.
func (e *Event) Change() (Change, error) {
	if e.Body == nil {
		return nil, nil
	}
	for _, k := range changes {
		if k.name != e.Name {
			continue
		}
		v := reflect.New(reflect.TypeOf(k.zero))
		if err := json.Unmarshal(e.Body, v.Interface()); err != nil {
			return nil, fault.New(fault.Internal, "event %d of %s cannot be read", e.Version, e.Serial).Because(err)
		}
		return v.Elem().Interface().(Change), nil
	}
	return nil, fault.New(fault.Unsupported, "event %d of %s is of a kind this program does not know: %s", e.Version, e.Serial, e.Name).Fix("use the newer program that wrote it")
}

// Say words what the change did.
func (e *Event) Say() (string, error) {
	c, err := e.Change()
	if err != nil {
		return "", err
	}
	words := ""
	switch c := c.(type) {
	case nil:
		words = fmt.Sprintf("destroyed; its SHA-256 was %x", e.BodySum)
	case Describing:
		words = "from " + c.From
	case Attaching:
		words = strings.TrimSpace(c.Certificate + " " + string(c.CertificateDate))
	case Examination:
		words = fmt.Sprintf("%s by %s, %s, next by %s", c.On, c.Examiner.Name, c.Basis, cmp.Or(string(c.Next), "unknown"))
		for _, d := range c.Defects {
			words += fmt.Sprintf("; %s: %s", d.Part, d.What)
		}
	case Calibration:
		words = fmt.Sprintf("%s, next by %s", c.On, c.Next)
	case Inspection:
		words = fmt.Sprintf("tag %s, latch %s, damage %s %s", c.Tag, c.Latch, c.Damage, c.Note)
	case Quarantine:
		words = c.Reason
	case Release:
		words = c.Reason
	case Scrapping:
		words = c.Reason
	case Using:
		words = c.Use.say()
	case Confirming:
		words = c.Reason
	case Refusing:
		words = c.Reason
	case ZeroCheck:
		words = c.Found + map[bool]string{true: ": its zero", false: ": not its zero"}[c.Good]
	case Overriding:
		words = fmt.Sprintf("%s; until %s, drift up to %.3g %% a year", c.Why, c.Until, 100*c.PerYear)
	case Destruction:
		words = fmt.Sprintf("records %v by %s", c.Versions, c.Rule)
	}
	for _, f := range FilesOf(c) {
		words += fmt.Sprintf(" [%s, %d bytes]", f.Name, f.Size)
	}
	return strings.TrimSpace(words), nil
}

// Replay adds an item's events up, in their order, and holds them against
// their checksums. With a destroyed event among them, the item lacks what that
// one did.
func Replay(events []Event) (Item, error) {
	var it Item
	for i := range events {
		e := &events[i]
		if e.Version != i+1 || i > 0 && Key(e.Serial) != Key(it.Serial) {
			return it, broken(e, "it stands at place %d of the history of %s", i+1, it.Serial)
		}
		if e.Body != nil && sha256.Sum256(e.Body) != e.BodySum || e.link(it.Head) != e.Sum {
			return it, broken(e, "it is not what was written")
		}
		c, err := e.Change()
		if err != nil {
			return it, err
		}
		if c != nil {
			c.apply(&it, e.Stamp)
		}
		it.Version, it.Head = e.Version, e.Sum
	}
	return it, nil
}

func broken(e *Event, format string, args ...any) error {
	return fault.New(fault.Disagree, "event %d of %s does not fit its checksum: "+format, append([]any{e.Version, e.Serial}, args...)...).
		Fix("somebody changed the register behind the program; restore it from a backup")
}

// compact writes v as JSON without its zero fields, names in small first
// letters, map keys in order. encoding/json reads it back into the same value.
func compact(v any) []byte {
	var b bytes.Buffer
	write(&b, reflect.ValueOf(v))
	return b.Bytes()
}

func write(b *bytes.Buffer, v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		write(b, v.Elem())
	case reflect.Struct:
		b.WriteByte('{')
		fields(b, v, 0)
		b.WriteByte('}')
	case reflect.Slice:
		b.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				b.WriteByte(',')
			}
			write(b, v.Index(i))
		}
		b.WriteByte(']')
	default:
		text, err := json.Marshal(v.Interface())
		if err != nil {
			panic(err) // our types are texts, numbers and maps of texts
		}
		b.Write(text)
	}
}

func fields(b *bytes.Buffer, v reflect.Value, n int) int {
	for i := range v.NumField() {
		f, name := v.Field(i), v.Type().Field(i).Name
		switch {
		case f.IsZero() || slices.Contains(chain, name):
		case v.Type().Field(i).Anonymous:
			n = fields(b, f, n)
		default:
			if n > 0 {
				b.WriteByte(',')
			}
			n++
			small := 1
			if name == strings.ToUpper(name) {
				small = len(name) // SWL
			}
			b.WriteString(`"` + strings.ToLower(name[:small]) + name[small:] + `":`)
			write(b, f)
		}
	}
	return n
}

// chain lists the fields of an item that belong to its place in the history.
var chain = []string{"Version", "Head"}

// Encode writes an item for keeping, its version and head apart.
func (it Item) Encode() []byte { return compact(it) }

// Decode reads what Encode wrote.
func Decode(data []byte) (Item, error) {
	var it Item
	if err := json.Unmarshal(data, &it); err != nil {
		return it, fault.New(fault.Internal, "an item cannot be read").Because(err)
	}
	return it, nil
}
