package seal

import (
	"io/fs"
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"plumbhook/fault"
)

// Entries with a meaning of their own.
const (
	manifestName  = "manifest.json"
	signatureName = "manifest.sig"
	counterName   = "countersignature.txt"
	signerName    = "signer.pem"
)

const maxName = 200 // bytes; archives are unpacked into folders with names of their own

// devices are names that one family of systems takes for a device, whatever
// follows the first stop.
var devices = map[string]bool{"con": true, "prn": true, "aux": true, "nul": true, "conin$": true, "conout$": true}

// checkName says why a name cannot be that of a file; empty: it can. Such a
// name stays inside its folder and means the same on every system.
func checkName(name string) string {
	switch {
	case len(name) > maxName:
		return "it is too long"
	case !fs.ValidPath(name) || name == ".":
		return "it is no path inside a folder"
	case !norm.NFC.IsNormalString(name):
		return "its letters are not composed (Unicode NFC)"
	}
	for _, r := range name {
		if !unicode.IsPrint(r) || strings.ContainsRune(`\:*?"<>|`, r) {
			return "it has a character that some systems refuse"
		}
	}
	for part := range strings.SplitSeq(name, "/") {
		stem, _, _ := strings.Cut(strings.ToLower(part), ".")
		stem = strings.TrimSpace(stem)
		numbered := len(stem) > 3 && (strings.HasPrefix(stem, "com") || strings.HasPrefix(stem, "lpt")) && len([]rune(stem)) == 4
		if devices[stem] || numbered || strings.TrimSpace(part) != part || strings.HasSuffix(part, ".") {
			return "some systems refuse it"
		}
	}
	return ""
}

// checkNames holds a list of names, in order, to what an archive may have:
// each once, also where letters of either case are one, and none a folder of
// another.
func checkNames(names []string) error {
	fold := cases.Fold()
	files, folders := map[string]string{}, map[string]string{}
	last := ""
	for _, name := range names {
		if why := checkName(name); why != "" {
			return fault.New(fault.Path, "the name cannot be that of a file: %s", why).In(name).Fix("rename the file")
		}
		if name <= last {
			return fault.New(fault.Duplicate, "it stands twice, or out of order").In(name)
		}
		last = name
		key := fold.String(name)
		if other, twice := files[key]; twice {
			return fault.New(fault.Duplicate, "some systems cannot tell it from %s", other).In(name).Fix("rename one of them")
		}
		files[key] = name
		for i := range key {
			if key[i] == '/' {
				folders[key[:i]] = name
			}
		}
	}
	for key, name := range files {
		if inside, both := folders[key]; both {
			return fault.New(fault.Duplicate, "it is a file, and the folder of %s", inside).In(name).Fix("rename one of them")
		}
		if key == manifestName || key == signatureName || key == counterName {
			return fault.New(fault.Duplicate, "the name is taken by the seal itself").In(name).Fix("rename the file")
		}
	}
	return nil
}
