// Package fleet is what the sites of a firm have in common: what a site tells
// the hub, how far the hub has got with each, and how documents that were
// changed in two places meet (meet.go).
//
// A site tells three things apart. A beat says how it stands right now and is
// never kept: without a fresh one nothing of that site is live. A log is a piece
// of a recording, its entries with their numbers, kept and back-filled after an
// outage. A document is a plan or an item of gear as it stands there.
//
// The numbers of the entries make "all there, in order, nothing twice" a thing
// that can be checked: a Tally counts what came, what came again and what is
// missing.
package fleet

import (
	"context"
	"time"
)

// Fresh is how old a beat may be for its site to count as linked. Beats come
// every BeatEvery.
const (
	BeatEvery = time.Second
	Fresh     = 5 * time.Second
)

// Beat is how a site stands.
type Beat struct {
	Site    string
	Run     string    // one start of the program; two at a time mean that two machines go by one name
	At      time.Time // by the site's clock
	Version string    // of the program
	Stream  string    // that the hub is to take the site's log from
	Last    uint64    // messages in it
	Watch   *OnWatch  // nil: no lift is on the watch
}

// OnWatch is the lift that a site has on the watch.
type OnWatch struct {
	Watch    string // whose entries are meant, as in Log
	Title    string
	Revision string
	Since    time.Time
	State    string   // WITHIN PLAN, CAUTION, STOP, NO READING
	Do       string   // what the worst alarm asks for
	AgeS     *float64 // of the oldest reading that counts; nil: none yet
	Used     *float64 // greatest share of a stop
}

// Log is a piece of a recording on its way: entries From to To, in the form of
// record.Packer. Entries between that are not in it were not in the recording.
type Log struct {
	Site, Watch string
	From, To    uint64
	Pack        []byte
	Stored      time.Time // when the hub had it
}

// Document is one as it stands at a site.
type Document struct {
	Site string
	Kind Kind
	ID   string
	At   time.Time // when it was sent, by the site's clock
	Body []byte    // JSON
}

// Kind is what a document is.
type Kind string

// A plan is a job.Job whole, gear is an item with its history, an answer is what a
// named person said about copies that contradict each other.
const (
	Plan     Kind = "plan"
	Gear     Kind = "gear"
	Answered Kind = "answer"
)

// Office is the name by which the hub's own app counts among the sites. No site
// can bear it.
const Office = "office"

// Place is how far a ledger has got in the hub's stream: the stream by when it
// was made, nanoseconds since 1970, and the sequence.
type Place struct {
	Born     int64
	Sequence uint64
}

// News is one message of the hub's stream: a log or a document.
type News struct {
	Sequence uint64
	Log      *Log
	Document *Document
}

// Tally is how much of one watch's recording has come.
type Tally struct {
	Site, Watch string
	Last        uint64    // greatest number of an entry
	LastAt      time.Time // of that entry
	Entries     uint64    // that came, each once
	Readings    uint64    // in them
	Missing     uint64    // numbers up to Last that did not come
	Again       uint64    // that came another time and were left out
	Stops       int       // stops that were raised
}

// Take counts a piece in and tells from which number on it is new; nothing of
// it is when that is beyond log.To.
func (t *Tally) Take(log *Log, numbers []uint64) (from uint64) {
	from = max(t.Last+1, log.From)
	if log.From <= t.Last {
		t.Again += min(t.Last, log.To) - log.From + 1
	}
	if log.To < from {
		return from
	}
	fresh := uint64(0)
	for _, n := range numbers {
		if n >= from {
			fresh++
		}
	}
	t.Missing += log.To - t.Last - fresh
	t.Entries += fresh
	t.Last = log.To
	return from
}

// Stop is a stop that was raised at a site.
type Stop struct {
	Site, Watch string
	N           uint64
	At          time.Time
	Kind, Where string
	Text        string
}

// Site is what a ledger knows of one.
type Site struct {
	Name  string
	Heard time.Time // when its latest beat came, by the hub's clock; zero: never
	Beat  Beat      // the latest
}

// Ledger keeps what the hub has made of its stream. What it takes and the place
// are written together, so that each message counts once however often the hub
// dies.
type Ledger interface {
	Place(ctx context.Context) (Place, error)
	// Take takes messages up to a place, in their order.
	Take(ctx context.Context, to Place, news []News) error
	// Heard notes when sites were last heard, for after a restart.
	Heard(ctx context.Context, sites []Site) error
	Sites(ctx context.Context) ([]Site, error)
	Tallies(ctx context.Context) ([]Tally, error)
	// Stops gives those raised since a time, the latest first.
	Stops(ctx context.Context, since time.Time) ([]Stop, error)
	// Documents gives the latest of each site of a kind; of one id, or of all
	// when it is empty.
	Documents(ctx context.Context, kind Kind, id string) ([]Document, error)
}
