// Package register holds the nouns and rules of the gear register: the
// serial-numbered item, what happened to it, when it is next due, and whether
// it is fit to be used on a given day.
//
// An item is never changed in place. A Change is applied to it, and the Event
// that remembers the change is linked to the one before by its checksum: the
// item is what its events add up to. Nothing is deleted; an item ends by being
// scrapped, and a record whose time of keeping is over is destroyed down to
// its checksum.
//
// The package computes and keeps nothing: a Store keeps, and every day comes
// in as an argument. Facts about a piece (class, size, grade ...) are kept as
// the text that was given; what they mean is the catalogue's business.
package register
