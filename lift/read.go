package lift

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"

	"plumbhook/fault"
	"plumbhook/keyed"
)

// bounds of a lift file: a lift of a hundred legs and five hundred parts stays
// well below each, and the format needs a depth of seven.
var bounds = keyed.Bounds{Bytes: 256 << 10, Tokens: 50_000, Values: 50_000, Keys: 5_000, Depth: 32, Aliases: true}

const (
	maxText   = 1000 // bytes of one value
	maxFaults = 500  // told of one file
)

// Read parses and checks a lift file. name is used in messages only. files is
// the folder that paths inside the file are looked up in: pass os.Root.FS,
// which keeps symbolic links inside as well, or nil where there is no folder.
// On error the result is nil and the error is a fault.List in file order,
// every mistake of the file.
//
// The way of a file: package keyed makes a tree with places, migrate.go brings
// an older version of the format up to date, read_keys.go says which keys
// there are and read_form.go reads them, read_load.go and read_leg.go check
// load and legs by themselves, read_rig.go checks what refers to what.
func Read(name string, files fs.FS, data []byte) (*Lift, error) {
	return ReadWith(name, files, data, nil)
}

// ReadWith is Read with the gear register at hand, nil where there is none: a
// stack entry without a kind takes kind and figures from it by its serial.
// What the file says itself goes before.
func ReadWith(name string, files fs.FS, data []byte, store Store) (*Lift, error) {
	root, faults := keyed.Tree(name, data, bounds)
	if root == nil {
		return nil, faults.Err()
	}
	if f := migrate(root); f != nil {
		return nil, fault.List{f}
	}
	r := &reader{
		files: files, meshLeft: maxMeshBytes, faults: faults,
		places: map[string]fault.Pos{}, blind: map[string]bool{},
	}
	r.store = store
	r.fill(root)
	root.SetPaths("", r.places)
	l, ok := fileForm.read(r, root)
	if ok {
		r.rig(&l)
	}
	if r.faults.Err() != nil {
		return nil, shorten(r.faults)
	}
	sum := sha256.Sum256(data)
	l.File, l.SHA256, l.places = name, hex.EncodeToString(sum[:]), r.places
	return &l, nil
}

// shorten keeps a list of faults to what a person may want to see.
func shorten(l fault.List) fault.List {
	if len(l) <= maxFaults {
		return l
	}
	next := l[maxFaults]
	return append(l[:maxFaults:maxFaults], fault.New(fault.TooLarge, "%d more mistakes from here on", len(l)-maxFaults).
		At(next.Pos).Fix("correct the ones above first"))
}

// Place gives the place in the file of what a fault's Where names:
// legs.west.length, load.parts[2]; list entries count from 1. It is the zero Pos for what does not stand
// in the file.
func (l *Lift) Place(where string) fault.Pos { return l.places[where] }
