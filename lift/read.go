package lift

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"

	"plumbhook/fault"
)

// Read parses and checks a lift file. name is used in messages only. files is
// the folder that paths inside the file are looked up in: pass os.Root.FS,
// which keeps symbolic links inside as well, or nil where there is no folder.
// On error the result is nil and the error is a fault.List in file order,
// every mistake of the file.
//
// The way of a file: read_yaml.go makes a tree with places, migrate.go brings
// an older version of the format up to date, read_keys.go says which keys
// there are and read_form.go reads them, read_load.go and read_leg.go check
// load and legs by themselves, read_rig.go checks what refers to what.
func Read(name string, files fs.FS, data []byte) (*Lift, error) {
	root, faults := parse(name, data)
	if root == nil {
		return nil, faults.Err()
	}
	if f := migrate(root); f != nil {
		return nil, fault.List{f}
	}
	places := map[string]fault.Pos{}
	root.setPaths("", places)
	r := &reader{files: files, meshLeft: maxMeshBytes, faults: faults}
	l, ok := fileForm.read(r, root)
	if ok {
		r.rig(&l, places)
	}
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	sum := sha256.Sum256(data)
	l.File, l.SHA256, l.places = name, hex.EncodeToString(sum[:]), places
	return &l, nil
}

// Place gives the place in the file of what a fault's Where names:
// legs.west.length, load.parts[2]. It is the zero Pos for what does not stand
// in the file.
func (l *Lift) Place(where string) fault.Pos { return l.places[where] }
