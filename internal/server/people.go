package server

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/contract"
	"plumbhook/crew"
	"plumbhook/fault"
)

// mostHashing is how many passwords are tried at once: each takes 19 MiB and a
// core.
const mostHashing = 2

type setupOrder struct {
	Code string `json:"code" maxLength:"100" doc:"as the console shows it"`
	SignIn
}

// SignIn is a name with its password.
type SignIn struct {
	Name     string `json:"name" maxLength:"200"`
	Password string `json:"password" maxLength:"1000"`
}

type pinOrder struct {
	Name string `json:"name" maxLength:"200"`
	PIN  string `json:"pin" maxLength:"20"`
}

type userOrder struct {
	SignIn
	Role string `json:"role" enum:"viewer,rigger,planner,admin"`
	PIN  string `json:"pin,omitempty" maxLength:"20"`
}

type userChange struct {
	Name string `path:"name"`
	Body struct {
		Role     *string `json:"role,omitempty" enum:"viewer,rigger,planner,admin"`
		Password *string `json:"password,omitempty" maxLength:"1000"`
		PIN      *string `json:"pin,omitempty" maxLength:"20" doc:"empty: none any more"`
		Ended    *bool   `json:"ended,omitempty"`
		Current  string  `json:"current_password,omitempty" maxLength:"1000" doc:"one's own, to change one's own password or PIN"`
	}
}

// signed is an answer that signs somebody in or out.
type signed struct {
	SetCookie http.Cookie `header:"Set-Cookie"`
	Body      contract.Me
}

// people are the routes about persons.
func (s *Server) people(api huma.API) {
	op := func(method, path, id, summary string, errs ...int) huma.Operation {
		return huma.Operation{OperationID: id, Method: method, Path: path, Summary: summary, MaxBodyBytes: mostBody, Errors: append([]int{400, 401, 403, 422, 429, 500}, errs...)}
	}
	huma.Register(api, op("GET", "/api/me", "get-me", "Who is signed in here"), func(ctx context.Context, _ *struct{}) (*answer[contract.Me], error) {
		m := who(ctx)
		v := s.me(m)
		if m.Role == crew.Nobody {
			first, err := s.nobodyYet(ctx)
			if err != nil {
				return nil, s.status(err)
			}
			if v.Setup = first; !first {
				return nil, &refusal{http.StatusUnauthorized, contract.NewFaults(fault.New(fault.Missing, "nobody is signed in").Fix("sign in"))}
			}
		}
		return &answer[contract.Me]{v}, nil
	})
	huma.Register(api, op("POST", "/api/setup", "setup", "The first person, by the code on the console, becomes admin", 409), s.setup)
	huma.Register(api, op("POST", "/api/session", "sign-in", "Sign in"), func(ctx context.Context, o *order[SignIn]) (*signed, error) {
		p, err := s.prove(ctx, o.Body.Name, o.Body.Password)
		if err != nil {
			return nil, err
		}
		return s.begin(ctx, p, false)
	})
	huma.Register(api, op("DELETE", "/api/session", "sign-out", "Sign out"), func(ctx context.Context, _ *struct{}) (*signed, error) {
		if m := who(ctx); m.token != "" {
			if err := s.o.Crew.EndSession(ctx, crew.TokenSum(m.token)); err != nil {
				return nil, s.status(err)
			}
		}
		c := s.cookie("")
		c.MaxAge = -1
		return &signed{SetCookie: c}, nil
	})
	huma.Register(api, op("POST", "/api/session/pin", "change-hands", "Change hands on a tablet where somebody has signed in", 409), s.pin)
	huma.Register(api, op("GET", "/api/users", "list-users", "All persons and screens"), func(ctx context.Context, _ *struct{}) (*answer[contract.Users], error) {
		out := contract.Users{Users: []contract.User{}}
		if s.o.Crew == nil {
			return &answer[contract.Users]{out}, nil
		}
		all, err := s.o.Crew.Persons(ctx)
		if err != nil {
			return nil, s.status(err)
		}
		for i := range all {
			out.Users = append(out.Users, contract.NewUser(&all[i]))
		}
		return &answer[contract.Users]{out}, nil
	})
	huma.Register(api, op("POST", "/api/users", "add-user", "A new person", 409), func(ctx context.Context, o *order[userOrder]) (*answer[contract.User], error) {
		p, err := s.newPerson(ctx, o.Body.Name, o.Body.Password, crew.Role(o.Body.Role))
		if err == nil && o.Body.PIN != "" {
			if err = crew.CheckPIN(o.Body.PIN); err == nil {
				p.PIN, err = s.seal(ctx, o.Body.PIN)
			}
		}
		if err == nil {
			err = s.o.Crew.PutPerson(ctx, p)
		}
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.User]{contract.NewUser(&p)}, nil
	})
	huma.Register(api, op("PATCH", "/api/users/{name}", "change-user", "Change a person; one's own password and PIN, or as an admin anybody's", 404, 409), s.changeUser)
	huma.Register(api, op("POST", "/api/screens", "add-screen", "A link that shows the watch on a screen without a person", 409), s.screen)
}

func (s *Server) me(m *me) contract.Me {
	return contract.Me{Name: m.Name, Role: string(m.Role), Open: m.open, ByPIN: m.byPIN, Hub: s.o.Fleet != nil}
}

// nobodyYet tells whether no person is registered.
func (s *Server) nobodyYet(ctx context.Context) (bool, error) {
	if s.o.Crew == nil {
		return false, nil
	}
	all, err := s.o.Crew.Persons(ctx)
	return len(all) == 0, err
}

func (s *Server) cookieName() string {
	if s.o.TLS {
		return "__Host-plumbhook" // browsers take it from no other host and over no plain link
	}
	return "plumbhook"
}

func (s *Server) cookie(token string) http.Cookie {
	return http.Cookie{Name: s.cookieName(), Value: token, Path: "/", HttpOnly: true, Secure: s.o.TLS, SameSite: http.SameSiteStrictMode, MaxAge: int((7 * 24 * time.Hour).Seconds())}
}

var errNoCrew = fault.New(fault.Unsupported, "this program runs without persons").Fix("start it with a data folder and sign-in")

// slow makes a guesser wait.
func (s *Server) slow(keys ...string) error {
	left := s.brake.wait(s.o.Now(), keys...)
	if left <= 0 {
		return nil
	}
	return huma.ErrorWithHeaders(&refusal{http.StatusTooManyRequests, contract.NewFaults(fault.New(fault.TooLarge, "too many wrong tries").Fix("wait %.0f s, then try again", left.Seconds()+0.5))},
		http.Header{"Retry-After": {fmt.Sprintf("%.0f", left.Seconds()+1)}})
}

// hashing runs something that takes a core for a while.
func (s *Server) hashing(ctx context.Context, do func()) error {
	select {
	case s.hashes <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.hashes }()
	do()
	return nil
}

func (s *Server) seal(ctx context.Context, secret string) (h crew.Hash, err error) {
	var salt [16]byte
	_, _ = rand.Read(salt[:]) // never fails
	err = s.hashing(ctx, func() { h = crew.Seal(secret, salt) })
	return h, err
}

var errWrong = fault.New(fault.Disagree, "name and password do not go together").Fix("try again; an admin can set a new password")

// prove finds who has a password. Wrong tries are slowed down; whether the name
// or the password is wrong is not told.
func (s *Server) prove(ctx context.Context, name, password string) (crew.Person, error) {
	if s.o.Crew == nil {
		return crew.Person{}, s.status(errNoCrew)
	}
	keys := []string{"name " + crew.Key(name), "from " + who(ctx).from}
	if err := s.slow(keys...); err != nil {
		return crew.Person{}, err
	}
	p, err := s.o.Crew.Person(ctx, name)
	if err != nil && unlessUnknown(err) != nil {
		return p, s.status(err)
	}
	good := false
	if err := s.hashing(ctx, func() { good = p.Password.Matches(password) }); err != nil {
		return p, s.status(err)
	}
	if !good || p.Ended {
		s.wrong(s.o.Now(), keys...)
		return p, &refusal{http.StatusUnauthorized, contract.NewFaults(errWrong)}
	}
	s.brake.passed(keys...)
	if p.Tries > 0 { // the password opens the PIN again
		p.Tries = 0
		if err := s.o.Crew.PutPerson(ctx, p); err != nil {
			return p, s.status(err)
		}
		p.Version++
	}
	return p, nil
}

// begin signs somebody in: with a new token, and without the one before.
func (s *Server) begin(ctx context.Context, p crew.Person, byPIN bool) (*signed, error) {
	if m := who(ctx); m.token != "" && m.Role != crew.Screen {
		if err := s.o.Crew.EndSession(ctx, crew.TokenSum(m.token)); err != nil {
			return nil, s.status(err)
		}
	}
	who(ctx).as = p.Name
	token, now := rand.Text(), s.o.Now()
	if err := s.o.Crew.PutSession(ctx, crew.Session{Sum: crew.TokenSum(token), Name: p.Name, Begun: now, Seen: now, ByPIN: byPIN}); err != nil {
		return nil, s.status(err)
	}
	return &signed{s.cookie(token), s.me(&me{Person: p, byPIN: byPIN})}, nil
}

func (s *Server) newPerson(ctx context.Context, name, password string, role crew.Role) (crew.Person, error) {
	p := crew.Person{Name: name, Role: role}
	if s.o.Crew == nil {
		return p, errNoCrew
	}
	var bad fault.List
	for _, err := range []error{crew.CheckName(name), crew.CheckPassword(password), crew.CheckRole(role)} {
		if err != nil {
			bad = append(bad, fault.Of(err)...)
		}
	}
	if err := bad.Err(); err != nil {
		return p, err
	}
	var err error
	p.Password, err = s.seal(ctx, password)
	return p, err
}

// setup takes the first person.
func (s *Server) setup(ctx context.Context, o *order[setupOrder]) (*signed, error) {
	first, err := s.nobodyYet(ctx)
	if err != nil {
		return nil, s.status(err)
	}
	if !first {
		return nil, s.status(fault.New(fault.Disagree, "somebody is registered already").Fix("sign in, or have an admin add you"))
	}
	if err := s.slow("setup"); err != nil {
		return nil, err
	}
	if s.o.Code == "" || subtle.ConstantTimeCompare([]byte(o.Body.Code), []byte(s.o.Code)) != 1 {
		s.wrong(s.o.Now(), "setup")
		return nil, &refusal{http.StatusForbidden, contract.NewFaults(fault.New(fault.Disagree, "that is not the code").In("code").Fix("read it off the console of the program"))}
	}
	p, err := s.newPerson(ctx, o.Body.Name, o.Body.Password, crew.Admin)
	if err == nil {
		err = s.o.Crew.PutPerson(ctx, p)
	}
	if err != nil {
		return nil, s.status(err)
	}
	return s.begin(ctx, p, false)
}

// pin changes hands. The try is counted before the PIN is looked at.
func (s *Server) pin(ctx context.Context, o *order[pinOrder]) (*signed, error) {
	if s.o.Crew == nil {
		return nil, s.status(errNoCrew)
	}
	if err := s.slow("from " + who(ctx).from); err != nil {
		return nil, err
	}
	wrong := func() (*signed, error) {
		s.wrong(s.o.Now(), "from "+who(ctx).from)
		return nil, &refusal{http.StatusUnauthorized, contract.NewFaults(fault.New(fault.Disagree, "name and PIN do not go together").Fix("try again, or sign in with the password"))}
	}
	p, err := s.o.Crew.Person(ctx, o.Body.Name)
	if err != nil {
		if unlessUnknown(err) == nil {
			return wrong()
		}
		return nil, s.status(err)
	}
	if p, err = p.Trying(); err != nil {
		return nil, s.status(err)
	}
	if err := s.o.Crew.PutPerson(ctx, p); err != nil {
		return nil, s.status(err)
	}
	p.Version++
	good := false
	if err := s.hashing(ctx, func() { good = p.PIN.Matches(o.Body.PIN) }); err != nil {
		return nil, s.status(err)
	}
	if !good {
		return wrong()
	}
	p.Tries = 0
	if err := s.o.Crew.PutPerson(ctx, p); err != nil {
		return nil, s.status(err)
	}
	s.brake.passed("from " + who(ctx).from)
	return s.begin(ctx, p, true)
}

// changeUser: one's own password and PIN with the password; all else as admin.
func (s *Server) changeUser(ctx context.Context, o *userChange) (*answer[contract.User], error) {
	if s.o.Crew == nil {
		return nil, s.status(errNoCrew)
	}
	m, b := who(ctx), &o.Body
	admin := m.Role.Reaches(crew.Admin) && !m.byPIN
	self := !m.open && crew.Key(m.Name) == crew.Key(o.Name)
	switch {
	case !admin && !self, !admin && (b.Role != nil || b.Ended != nil):
		return nil, &refusal{http.StatusForbidden, contract.NewFaults(fault.New(fault.Missing, "only an admin who signed in with the password may change this").Fix("ask an admin"))}
	case self && (b.Password != nil || b.PIN != nil):
		if _, err := s.prove(ctx, m.Name, b.Current); err != nil {
			return nil, err
		}
	}
	p, err := s.o.Crew.Person(ctx, o.Name)
	if err != nil {
		return nil, s.status(err)
	}
	lost := p.Role == crew.Admin && !p.Ended && (b.Role != nil && crew.Role(*b.Role) != crew.Admin || b.Ended != nil && *b.Ended)
	if lost {
		all, err := s.o.Crew.Persons(ctx)
		if err != nil {
			return nil, s.status(err)
		}
		admins := 0
		for i := range all {
			if all[i].Role == crew.Admin && !all[i].Ended {
				admins++
			}
		}
		if admins == 1 {
			return nil, s.status(fault.New(fault.Disagree, "%s is the only admin", p.Name).Fix("make somebody else admin first"))
		}
	}
	var errs []error
	if b.Role != nil {
		if p.Role == crew.Screen {
			errs = append(errs, fault.New(fault.Disagree, "%s is a screen", p.Name).In("role").Fix("add a person"))
		}
		p.Role = crew.Role(*b.Role)
	}
	if b.Ended != nil {
		p.Ended = *b.Ended
	}
	if b.Password != nil {
		err := crew.CheckPassword(*b.Password)
		if err == nil {
			p.Password, err = s.seal(ctx, *b.Password)
		}
		errs, p.Tries = append(errs, err), 0
	}
	if b.PIN != nil {
		p.PIN = ""
		if *b.PIN != "" {
			err := crew.CheckPIN(*b.PIN)
			if err == nil {
				p.PIN, err = s.seal(ctx, *b.PIN)
			}
			errs, p.Tries = append(errs, err), 0
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, s.status(err)
	}
	if err := s.o.Crew.PutPerson(ctx, p); err != nil {
		return nil, s.status(err)
	}
	if p.Ended || b.Password != nil && !self {
		if err := s.o.Crew.EndSessions(ctx, p.Name); err != nil {
			return nil, s.status(err)
		}
	}
	return &answer[contract.User]{contract.NewUser(&p)}, nil
}

type screenOrder struct {
	Name string `json:"name" maxLength:"60" doc:"what the screen is called, as: yard"`
}

// screen makes a link for a screen; the links made for it before end.
func (s *Server) screen(ctx context.Context, o *order[screenOrder]) (*answer[contract.ScreenLink], error) {
	if s.o.Crew == nil {
		return nil, s.status(errNoCrew)
	}
	if err := crew.CheckName(o.Body.Name); err != nil {
		return nil, s.status(err)
	}
	p, err := s.o.Crew.Person(ctx, o.Body.Name)
	switch {
	case err == nil && p.Role != crew.Screen:
		err = fault.New(fault.Duplicate, "somebody is called %q", p.Name).In("name").Fix("give the screen another name")
	case err == nil:
		p.Ended = false
		if err = s.o.Crew.PutPerson(ctx, p); err == nil {
			err = s.o.Crew.EndSessions(ctx, p.Name)
		}
	case unlessUnknown(err) == nil:
		p = crew.Person{Name: o.Body.Name, Role: crew.Screen}
		err = s.o.Crew.PutPerson(ctx, p)
	}
	if err != nil {
		return nil, s.status(err)
	}
	token, now := rand.Text(), s.o.Now()
	if err := s.o.Crew.PutSession(ctx, crew.Session{Sum: crew.TokenSum(token), Name: p.Name, Begun: now, Seen: now}); err != nil {
		return nil, s.status(err)
	}
	return &answer[contract.ScreenLink]{contract.ScreenLink{Name: p.Name, Path: "/screen/" + token}}, nil
}

// openScreen turns a link into the cookie of a screen.
func (s *Server) openScreen(w http.ResponseWriter, r *http.Request) {
	token := r.PathValue("token")
	if s.o.Crew != nil && !s.o.Open {
		x, err := s.o.Crew.Session(r.Context(), crew.TokenSum(token))
		var p crew.Person
		if err == nil {
			p, err = s.o.Crew.Person(r.Context(), x.Name)
		}
		if err != nil || p.Ended || p.Role != crew.Screen {
			refuse(w, http.StatusNotFound, fault.New(fault.Reference, "this link opens nothing").Fix("have an admin make a new one"))
			return
		}
		c := s.cookie(token)
		c.MaxAge = int((365 * 24 * time.Hour).Seconds())
		http.SetCookie(w, &c)
	}
	http.Redirect(w, r, "/far", http.StatusFound)
}
