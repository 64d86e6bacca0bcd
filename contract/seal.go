package contract

import (
	"encoding/hex"
	"time"

	"plumbhook/logbook"
	"plumbhook/record/seal"
)

// Verify is the answer of `verify --format json`.
type Verify struct {
	Intact   bool           `json:"intact"` // every byte is as it was sealed
	Signer   string         `json:"signer"` // public key, hexadecimal; empty: cannot be told
	Key      string         `json:"key"`    // unknown (none was given), as_given, another
	Before   string         `json:"before"` // not_given, follows, does_not_follow
	Why      string         `json:"why"`    // it does not follow
	Record   *SealedRecord  `json:"record"` // null: cannot be read; not to be trusted unless intact
	Counter  *Countersigned `json:"countersigned"`
	Problems []SealProblem  `json:"problems"`
	Unlisted int            `json:"unlisted"` // problems beyond those
	Cautions string         `json:"cautions"`
}

// SealedRecord is what a record says of itself.
type SealedRecord struct {
	Number   uint64       `json:"number"` // in the chain of its signer
	Head     string       `json:"head"`   // SHA-256 of manifest.json
	Before   string       `json:"before"` // head of the record before; empty: it is the first
	Sealed   time.Time    `json:"sealed"`
	Program  string       `json:"program"`
	Title    string       `json:"title"`
	Revision string       `json:"revision"`
	SHA256   string       `json:"sha256"` // of the lift file
	From     string       `json:"from"`
	To       string       `json:"to"`
	Readings uint64       `json:"readings"`
	Missing  []string     `json:"missing"` // what the record lacks
	Keep     []SealKeep   `json:"keep"`
	Files    []SealedFile `json:"files"`
}

// SealKeep is until when a record has to be kept at least, and by what rule.
type SealKeep struct {
	Until  string `json:"until"`
	Rule   string `json:"rule"`
	Source string `json:"source"`
}

// SealedFile is one file of a record.
type SealedFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Countersigned is somebody else's word that the record was there.
type Countersigned struct {
	At  time.Time `json:"at"`
	Key string    `json:"key"` // hexadecimal
}

// SealProblem is one thing that is wrong with a record.
type SealProblem struct {
	Kind  string `json:"kind"`  // changed, missing, extra, duplicate, swapped, cut, trailing, not_canonical, signature, manifest
	File  string `json:"file"`  // empty: the record as a whole
	Chunk int    `json:"chunk"` // of 64 KiB, from 1; 0: no one of them
	From  int64  `json:"from"`  // bytes of the record; both 0: not told
	To    int64  `json:"to"`
	Text  string `json:"text"`
}

// NewVerify shapes a report; what was held against other things is for the
// caller to fill in.
func NewVerify(r *seal.Report) Verify {
	out := Verify{Intact: r.Intact(), Signer: hex.EncodeToString(r.Signer), Key: "unknown", Before: "not_given", Record: NewSealed(r), Problems: []SealProblem{}, Unlisted: r.More}
	if c := r.Counter; c != nil {
		out.Counter = &Countersigned{c.At, hex.EncodeToString(c.Key)}
	}
	for _, p := range r.Problems {
		out.Problems = append(out.Problems, SealProblem{string(p.Kind), p.File, p.Chunk, p.From, p.To, p.Text})
	}
	return out
}

// NewSealed shapes what a record says of itself; nil when it cannot be read.
func NewSealed(r *seal.Report) *SealedRecord {
	m := r.Manifest
	if m == nil {
		return nil
	}
	out := &SealedRecord{
		Number: m.Number, Head: r.Head, Before: m.Before, Sealed: m.Sealed.UTC(), Program: m.Program, Title: m.Title, Revision: m.Revision,
		SHA256: m.Plan, From: m.From, To: m.To, Readings: m.Readings, Missing: append([]string{}, m.Missing...), Keep: []SealKeep{}, Files: []SealedFile{},
	}
	for _, k := range m.Keep {
		out.Keep = append(out.Keep, SealKeep(k))
	}
	for i := range m.Files {
		out.Files = append(out.Files, SealedFile{m.Files[i].Name, m.Files[i].Size, m.Files[i].SHA256})
	}
	return out
}

// LogEntry is an entry of the logbook that is no reading and no tick: what a
// person did or said, and when a watch began or came back.
type LogEntry struct {
	N       uint64     `json:"n"`
	At      time.Time  `json:"at"`
	Kind    string     `json:"kind"` // plan, tare, ack, clear, word, mark, restart
	Who     string     `json:"who"`
	Signed  bool       `json:"signed_in"` // else the name is only claimed
	Alarm   string     `json:"alarm"`
	Says    string     `json:"says"`
	Tare    string     `json:"tare"`
	Insists bool       `json:"insists"`
	Since   *time.Time `json:"since"`
	Text    string     `json:"text"`
}

// NewLogEntry shapes an entry.
func NewLogEntry(e *logbook.Entry) LogEntry {
	out := LogEntry{
		N: e.N, At: e.At.Time(), Kind: e.Kind.String(), Who: e.Who, Signed: e.Signed, Alarm: e.Alarm, Says: e.Says, Tare: string(e.Tare), Insists: e.Insists, Text: e.Text,
	}
	if e.Kind == logbook.Restart {
		t := e.Since.Time()
		out.Since = &t
	}
	return out
}
