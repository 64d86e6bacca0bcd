package crew_test

import (
	"strings"
	"testing"
	"time"

	"plumbhook/crew"
)

func TestRoles(t *testing.T) {
	all := []crew.Role{crew.Nobody, crew.Screen, crew.Viewer, crew.Rigger, crew.Planner, crew.Admin}
	for i, have := range all {
		for k, need := range all {
			if have.Reaches(need) != (i >= k) {
				t.Errorf("%q reaches %q: %v", have, need, have.Reaches(need))
			}
		}
	}
	if crew.Role("owner").Reaches(crew.Nobody) || crew.Admin.Reaches("owner") {
		t.Error("a role that is none reaches something")
	}
}

func TestHash(t *testing.T) {
	h := crew.Seal("four short words", [16]byte{1})
	if !h.Matches("four short words") || h.Matches("four short word") || h.Matches("") {
		t.Error("the hash takes another secret")
	}
	if h == crew.Seal("four short words", [16]byte{2}) {
		t.Error("the salt does nothing")
	}
	for _, bad := range []crew.Hash{"", "$argon2id$v=19$m=19456,t=2,p=1$AAAA$", "$argon2id$v=19$m=99999999,t=2,p=1$AAAA$AAAA", crew.Hash(strings.Replace(string(h), "argon2id", "plain", 1))} {
		if bad.Matches("") || bad.Matches("four short words") {
			t.Errorf("%q takes a secret", bad)
		}
	}
}

func TestPIN(t *testing.T) {
	for pin, good := range map[string]bool{"4711": true, "1357": true, "90210": true, "1234": false, "4321": false, "0000": false, "47": false, "471a": false, "471147114": false} {
		if err := crew.CheckPIN(pin); (err == nil) != good {
			t.Errorf("%s: %v", pin, err)
		}
	}
	p := crew.Person{PIN: "x"}
	for i := range crew.MaxTries {
		var err error
		if p, err = p.Trying(); err != nil {
			t.Fatalf("try %d: %v", i+1, err)
		}
	}
	if _, err := p.Trying(); err == nil || !strings.Contains(err.Error(), "password") {
		t.Errorf("a sixth try: %v", err)
	}
	if _, err := (crew.Person{}).Trying(); err == nil {
		t.Error("a try without a PIN")
	}
}

func TestNames(t *testing.T) {
	for name, good := range map[string]bool{"A. Rigger": true, "": false, " A": false, "A\nB": false, "A  B": false, strings.Repeat("x", 61): false} {
		if err := crew.CheckName(name); (err == nil) != good {
			t.Errorf("%q: %v", name, err)
		}
	}
	if crew.Key(" A.  RIGGER ") != "a. rigger" {
		t.Error(crew.Key(" A.  RIGGER "))
	}
	for _, bad := range []string{"", "short", strings.Repeat("x", 201)} {
		if crew.CheckPassword(bad) == nil {
			t.Errorf("the password %q is taken", bad)
		}
	}
	if crew.CheckRole(crew.Screen) == nil || crew.CheckRole("") == nil || crew.CheckRole(crew.Viewer) != nil {
		t.Error("roles of persons")
	}
}

func TestSessionEnds(t *testing.T) {
	at := time.Unix(1_790_000_000, 0)
	s := crew.Session{Begun: at, Seen: at}
	for _, c := range []struct {
		after      time.Duration
		role       crew.Role
		seen       time.Duration
		live, note bool
	}{
		{time.Minute, crew.Rigger, 0, true, false},
		{6 * time.Minute, crew.Rigger, 0, true, true},
		{13 * time.Hour, crew.Admin, 0, false, false},
		{8 * 24 * time.Hour, crew.Admin, 8*24*time.Hour - time.Hour, false, false},
		{8 * 24 * time.Hour, crew.Screen, 0, true, true},
	} {
		s.Seen = at.Add(c.seen)
		if live, note := s.Lives(c.role, at.Add(c.after)); live != c.live || note != c.note {
			t.Errorf("%+v: %v %v", c, live, note)
		}
	}
}
