package register

import (
	"maps"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Status says whether an item may be handed out.
type Status string

// Quarantined gear is held back until a named person releases it. Scrapped
// is for good.
const (
	InService   Status = "in service"
	Quarantined Status = "quarantined"
	Scrapped    Status = "scrapped"
)

// Item is one piece of gear as it stands: what its events add up to. A zero
// field is not known.
type Item struct {
	Serial   string            // unique, whatever its capitals
	Kind     string            // bow shackle, wire rope sling, load cell ...
	Facts    map[string]string // class, size, grade, table ... as given
	Rating   *quantity.Rating  // WLL as on the tag; nil when none is known
	Location string
	Made     Date

	Certificate     string // number of the maker's certificate
	CertificateDate Date
	Files           []File // certificates and whatever else belongs to the item itself

	Examined, ExamineBy     Date // last thorough examination, and the day by which the next is due
	Calibrated, CalibrateBy Date // the same for a load cell's calibration
	// A defect that an examination found and that has to be mended by a day
	// (LOLER 1998 regulation 10(3)(b)).
	Mend   string
	MendBy Date

	Inspection *Inspection // the latest before use
	Life       Life        // what its lifts add up to

	Status   Status
	Reason   string // of the status, with who set it and when; empty in service from the start
	StatusBy string
	StatusOn Date

	Version int      // number of its latest event
	Head    [32]byte // checksum of its latest event
}

// File is an attachment. Its bytes are kept under their own checksum.
type File struct {
	Name string
	Sum  string // SHA-256, hexadecimal
	Size int64  // bytes
}

// Key folds a serial for comparison: gear marked kp-0117 and KP-0117 is not
// two pieces.
func Key(serial string) string { return strings.ToUpper(strings.TrimSpace(serial)) }

// Said is what the gear catalogue reads of an item: its facts, with the rating
// as wll.
func (it *Item) Said() map[string]string {
	said := map[string]string{}
	maps.Copy(said, it.Facts)
	said["serial"] = it.Serial
	if it.Rating != nil {
		said["wll"] = it.Rating.Text
	}
	return said
}

// clone copies what a change might write to.
func (it Item) clone() Item {
	it.Facts = maps.Clone(it.Facts)
	it.Files = slices.Clone(it.Files)
	return it
}

// Longest texts, in characters. A serial and a rating have to fit a label.
const (
	maxSerial = 40
	maxWord   = 80
	maxText   = 2000
	maxFacts  = 100
)

// Check gives what is wrong with an item that is entered on a day. Where of
// each fault is the column of the CSV form.
func (it *Item) Check(on Date) fault.List {
	var list fault.List
	add := func(where string, f *fault.Fault) {
		if f != nil {
			list = append(list, f.In(where))
		}
	}
	need := func(where, s string, longest int) {
		if s == "" {
			add(where, fault.New(fault.Missing, "there is no %s", where).Fix("give it as it is marked on the gear or its certificate"))
			return
		}
		add(where, text(s, longest))
	}
	need("serial", it.Serial, maxSerial)
	need("kind", it.Kind, maxWord)
	add("location", text(it.Location, maxWord))
	add("certificate", text(it.Certificate, maxWord))
	add("mend", text(it.Mend, maxText))
	add("reason", text(it.Reason, maxText))
	add("status_by", text(it.StatusBy, maxWord))
	if it.Rating != nil {
		add("rating", text(it.Rating.Text, maxSerial))
	}
	if len(it.Facts) > maxFacts {
		add("facts", fault.New(fault.TooLarge, "%d facts about one item", len(it.Facts)).Fix("leave out what is not about the piece itself"))
	}
	for _, k := range slices.Sorted(maps.Keys(it.Facts)) {
		add(k, factName(k))
		add(k, text(it.Facts[k], maxText))
	}
	switch it.Status {
	case InService:
	case Quarantined, Scrapped:
		if it.Reason == "" {
			add("reason", fault.New(fault.Missing, "it is %s and nobody says why", it.Status).Fix("give the reason"))
		}
	default:
		add("status", fault.New(fault.Syntax, "%q is no status", string(it.Status)).Fix("write %s, %s or %s", InService, Quarantined, Scrapped))
	}
	if (it.Mend == "") != (it.MendBy == "") {
		add("mend_by", fault.New(fault.Missing, "a defect to mend needs both its description and the day").Fix("fill mend and mend_by"))
	}

	past := []struct {
		where string
		day   Date
	}{
		{"made", it.Made},
		{"certificate_date", it.CertificateDate},
		{"examined", it.Examined},
		{"calibrated", it.Calibrated},
		{"status_on", it.StatusOn},
	}
	for _, p := range past {
		if p.day > on {
			add(p.where, fault.New(fault.Range, "%s lies after %s, the day of this entry", p.day, on).Fix("look at the year, or enter it on the day"))
		}
	}
	ordered := func(a, b string, first, then Date) {
		if first != "" && then != "" && then < first {
			add(b, fault.New(fault.Range, "%s %s is before %s %s", b, then, a, first).Fix("look at both dates"))
		}
	}
	ordered("made", "certificate_date", it.Made, it.CertificateDate)
	ordered("made", "examined", it.Made, it.Examined)
	ordered("made", "calibrated", it.Made, it.Calibrated)
	ordered("examined", "examine_by", it.Examined, it.ExamineBy)
	ordered("calibrated", "calibrate_by", it.Calibrated, it.CalibrateBy)
	return list
}

// text refuses what no database, label or reader should have to bear.
func text(s string, longest int) *fault.Fault {
	switch {
	case !utf8.ValidString(s):
		return fault.New(fault.Syntax, "the text is not UTF-8").Fix("save the file as UTF-8")
	case strings.ContainsFunc(s, func(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Cf) || r == utf8.RuneError }):
		return fault.New(fault.Syntax, "a control or broken character in %q", s).Fix("write it on one line, in plain text")
	case strings.TrimSpace(s) != s:
		return fault.New(fault.Syntax, "blanks around %q", s).Fix("take them away")
	case utf8.RuneCountInString(s) > longest:
		return fault.New(fault.TooLarge, "%d characters, %d is the most here", utf8.RuneCountInString(s), longest).Fix("shorten it")
	}
	return nil
}
