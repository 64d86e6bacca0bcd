package register

import (
	"context"
	"io"
)

// Query chooses items. The zero Query chooses all.
type Query struct {
	Words  []string // each stands, whatever its capitals, in the serial, kind, location, rating or a fact
	Status Status
}

// MaxFile bounds an attachment: a scanned report, not a film.
const MaxFile = 20 << 20

// Store keeps the register. What it is asked for and does not have is a
// *fault.Fault of class Reference.
type Store interface {
	// Item gives the item that bears a serial, whatever its capitals.
	Item(ctx context.Context, serial string) (Item, error)
	// Items gives those of the serials that are there, by Key.
	Items(ctx context.Context, serials []string) (map[string]Item, error)
	// Find gives the chosen items in order of their Key.
	Find(ctx context.Context, q Query) ([]Item, error)
	// Seek is Find for a list that is looked at page by page: at most limit
	// items whose Key comes after a serial, and whether there are more.
	Seek(ctx context.Context, q Query, after string, limit int) (items []Item, more bool, err error)
	// History gives an item's events, the first first.
	History(ctx context.Context, serial string) ([]Event, error)
	// Due gives all that falls due up to a day, what has no day on record
	// first, then by day, then by Key.
	Due(ctx context.Context, until Date) ([]Due, error)
	// Write writes all of the entries or none, one for each item at most.
	// An item that is not at the version its entry was made from was changed
	// meanwhile: a fault of class Disagree. The records that a Destruction
	// lists lose their bodies, and files that nothing else holds.
	Write(ctx context.Context, entries []Entry) error
	// Put keeps an attachment of at most MaxFile bytes.
	Put(ctx context.Context, name string, r io.Reader) (File, error)
	// Get gives an attachment, and a fault of class Disagree for one that is not
	// what was put.
	Get(ctx context.Context, f File) ([]byte, error)
}
