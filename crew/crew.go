// Package crew says who may do what: persons with a role, how they prove who
// they are, and how long that is believed.
//
// It holds rules and keeps nothing: random salt, the time and the store come in
// from outside. Passwords and PINs are kept as argon2id hashes (RFC 9106).
package crew

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"plumbhook/fault"
)

// Role says how much a person may do. Each role may do what those below it may.
type Role string

// A screen shows the watch and belongs to nobody. A viewer looks; a rigger acts
// on the watch and on gear; a planner writes and approves plans; an admin says
// who the others are.
const (
	Nobody  Role = ""
	Screen  Role = "screen"
	Viewer  Role = "viewer"
	Rigger  Role = "rigger"
	Planner Role = "planner"
	Admin   Role = "admin"
)

var rank = []Role{Nobody, Screen, Viewer, Rigger, Planner, Admin}

// Reaches tells whether a role is at least another.
func (r Role) Reaches(least Role) bool {
	have, need := slices.Index(rank, r), slices.Index(rank, least)
	return have >= 0 && need >= 0 && have >= need
}

// Person is somebody, or a screen.
type Person struct {
	Name     string
	Role     Role
	Password Hash
	PIN      Hash // empty: none
	Tries    int  // of the PIN that failed since the password was last given
	Ended    bool // may no longer sign in; what they did keeps their name
	Version  int  // of the stored person; 0: not stored yet
}

// MaxTries of a PIN; then the password has to be given.
const MaxTries = 5

// Bounds of what people choose. A short PIN is for changing hands on a tablet
// where somebody has signed in; it opens nothing elsewhere.
const (
	maxName     = 60
	minPassword = 8
	maxPassword = 200
	minPIN      = 4
	maxPIN      = 8
)

// Key folds a name for comparison.
func Key(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

// CheckName refuses what cannot be told apart or printed.
func CheckName(name string) error {
	switch {
	case Key(name) == "":
		return fault.New(fault.Missing, "nobody's name is given").In("name").Fix("write the name as the crew knows it")
	case strings.Join(strings.Fields(name), " ") != name || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) || !utf8.ValidString(name):
		return fault.New(fault.Range, "a name with blanks around it, or with characters that cannot be printed").In("name").Fix("write it in plain text")
	case utf8.RuneCountInString(name) > maxName:
		return fault.New(fault.TooLarge, "a name of %d characters", utf8.RuneCountInString(name)).In("name").Fix("%d is the most", maxName)
	}
	return nil
}

// CheckPassword refuses one that is too short to be one.
func CheckPassword(password string) error {
	switch n := utf8.RuneCountInString(password); {
	case n < minPassword:
		return fault.New(fault.Range, "a password of %d characters", n).In("password").Fix("take %d or more; a few words are easier to keep than signs", minPassword)
	case n > maxPassword:
		return fault.New(fault.TooLarge, "a password of %d characters", n).In("password").Fix("%d is the most", maxPassword)
	}
	return nil
}

// CheckPIN refuses one that is the first to be tried.
func CheckPIN(pin string) error {
	if len(pin) < minPIN || len(pin) > maxPIN || strings.Trim(pin, "0123456789") != "" {
		return fault.New(fault.Range, "this is no PIN").In("pin").Fix("take %d to %d digits", minPIN, maxPIN)
	}
	step := int(pin[1]) - int(pin[0])
	for i := 1; i < len(pin); i++ {
		if d := int(pin[i]) - int(pin[i-1]); d != step || step < -1 || step > 1 {
			return nil
		}
	}
	return fault.New(fault.Range, "a PIN that counts up, down or stays is the first to be tried").In("pin").Fix("take other digits")
}

// CheckRole refuses what is no role of a person.
func CheckRole(r Role) error {
	if !r.Reaches(Viewer) {
		return fault.New(fault.Range, "%q is no role", string(r)).In("role").Fix("write viewer, rigger, planner or admin")
	}
	return nil
}

// Hash is a secret that can be compared and not read: argon2id with its
// parameters and salt, in the usual text form.
type Hash string

// Parameters of the hash: the second choice of OWASP's list for machines that
// do other things too (from memory); some 50 to 100 ms of one core.
const (
	passes  = 2
	memory  = 19 << 10 // KiB
	threads = 1
	keyLen  = 32
)

// Seal makes a hash of a secret with a salt that is used for nothing else.
func Seal(secret string, salt [16]byte) Hash {
	key := argon2.IDKey([]byte(secret), salt[:], passes, memory, threads, keyLen)
	b := base64.RawStdEncoding
	return Hash(fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, memory, passes, threads, b.EncodeToString(salt[:]), b.EncodeToString(key)))
}

// Matches tells whether a secret is the one that was sealed. It takes as long
// where there is no hash, so that nobody learns which names are known.
func (h Hash) Matches(secret string) bool {
	fields := strings.Split(string(h), "$")
	salt, want := make([]byte, 16), make([]byte, keyLen)
	known := len(fields) == 6 && fields[1] == "argon2id"
	m, t, p := uint32(memory), uint32(passes), uint8(threads)
	if known {
		if _, err := fmt.Sscanf(fields[3], "m=%d,t=%d,p=%d", &m, &t, &p); err != nil || t == 0 || p == 0 || m > 1<<20 {
			known, m, t, p = false, memory, passes, threads
		}
		s, err1 := base64.RawStdEncoding.DecodeString(fields[4])
		k, err2 := base64.RawStdEncoding.DecodeString(fields[5])
		if known = known && err1 == nil && err2 == nil && len(k) == keyLen; known {
			salt, want = s, k
		}
	}
	got := argon2.IDKey([]byte(secret), salt, t, m, p, keyLen)
	return subtle.ConstantTimeCompare(got, want) == 1 && known
}

// Trying counts a try of the PIN before it is looked at, so that two at once
// count twice. The person is to be stored like this first.
func (p Person) Trying() (Person, error) {
	switch {
	case p.Ended || p.PIN == "":
		return p, fault.New(fault.Missing, "there is no PIN for this name").Fix("sign in with the password")
	case p.Tries >= MaxTries:
		return p, fault.New(fault.Disagree, "the PIN was wrong %d times", MaxTries).Fix("sign in with the password")
	}
	p.Tries++
	return p, nil
}

// Session is a browser that somebody signed in at.
type Session struct {
	Sum   [32]byte // SHA-256 of the token, which the browser alone has
	Name  string
	Begun time.Time
	Seen  time.Time
	ByPIN bool
}

// TokenSum is what is kept of a token.
func TokenSum(token string) [32]byte { return sha256.Sum256([]byte(token)) }

// How long a session is believed: unused for a shift, and a week at most
// (common practice, no source). A screen's has no end: it shows and can do
// nothing.
const (
	idle   = 12 * time.Hour
	oldest = 7 * 24 * time.Hour
	noted  = 5 * time.Minute // how stale Seen may be before it is written again
)

// Lives tells whether a session is still believed, and whether it is time to
// write down that it was used.
func (s *Session) Lives(role Role, now time.Time) (lives, note bool) {
	if role != Screen && (now.Sub(s.Seen) > idle || now.Sub(s.Begun) > oldest) {
		return false, false
	}
	return true, now.Sub(s.Seen) > noted
}

// Store keeps persons and sessions. What it is asked for and does not have is a
// fault of class Reference.
type Store interface {
	// Persons gives all, by name.
	Persons(ctx context.Context) ([]Person, error)
	// Person finds one by name, whatever its capitals.
	Person(ctx context.Context, name string) (Person, error)
	// PutPerson writes a person made of the stored one with the same Version;
	// otherwise a fault of class Disagree. A person with Version 0 has to be new.
	PutPerson(ctx context.Context, p Person) error
	// Session finds one by the sum of its token.
	Session(ctx context.Context, sum [32]byte) (Session, error)
	// PutSession writes one, new or seen again.
	PutSession(ctx context.Context, s Session) error
	// EndSession forgets one; EndSessions all of a person.
	EndSession(ctx context.Context, sum [32]byte) error
	EndSessions(ctx context.Context, name string) error
}
