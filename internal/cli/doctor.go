package cli

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/audit"
	"plumbhook/internal/authority"
	"plumbhook/internal/backup"
	"plumbhook/internal/bus"
	"plumbhook/internal/store"
	"plumbhook/record"
	"plumbhook/register"
)

type doctorCmd struct {
	Data   string        `required:"" placeholder:"DIR" help:"Data folder."`
	Listen string        `default:"127.0.0.1:8470" placeholder:"ADDR" help:"Where serve serves it (default ${default})."`
	MQTT   string        `default:"127.0.0.1:1883" placeholder:"ADDR" help:"Where gateways publish (default ${default})."`
	On     register.Date `placeholder:"DATE" help:"Day for what falls due; today when left out."`
}

// Help says what is looked at.
func (*doctorCmd) Help() string {
	return `Looks at a data folder and at the program that serves it, and says in plain words what is wrong and what to do: disk, clock, ports, who holds the folder, register, recordings, gateways, certificates, gear that is due, audit log, age of the backup. It changes nothing.

Exit status: 0 nothing is wrong; 1 something is; 2 the folder cannot be read; 3 anything else.`
}

// Below these the doctor speaks up.
const (
	leastFree    = 1 << 30             // bytes
	oldBackup    = 7 * 24 * time.Hour  // common practice, no source
	soonOut      = 30 * 24 * time.Hour // of certificates
	soonDue      = 14                  // days, of gear
	builtBefore  = "2026-01-01"        // no clock that is right shows less
	slowAnswer   = 5 * time.Second
	mostReported = 5
)

// complaint is something that is wrong.
type complaint struct{ part, what, do string }

// doctor gathers what it finds.
type doctor struct {
	wrong []complaint
	well  []string
}

func (d *doctor) bad(part, do, what string, args ...any) {
	d.wrong = append(d.wrong, complaint{part, fmt.Sprintf(what, args...), do})
}

func (d *doctor) ok(what string, args ...any) { d.well = append(d.well, fmt.Sprintf(what, args...)) }

// fault takes a fault as a complaint.
func (d *doctor) fault(part string, err error) {
	for _, f := range fault.Of(err) {
		d.bad(part, f.Do, "%s", strings.TrimSpace(f.What+" "+f.Where))
	}
}

// Run looks.
func (c *doctorCmd) Run(e *env) error {
	if !isDir(c.Data) {
		return fault.New(fault.Path, "there is no such data folder").In(c.Data).Fix("check the path")
	}
	d, now := &doctor{}, time.Now()
	d.disk(c.Data)
	if now.Format(time.DateOnly) < builtBefore {
		d.bad("clock", "set the clock: certificates and due dates are judged by it", "this machine's clock says %s", now.Format(time.DateOnly))
	}
	served := d.held(c.Data)
	d.ports(c, served)
	d.register(c.Data, cmp.Or(c.On, register.DateOf(now)))
	d.recordings(c.Data)
	d.certificates(c.Data, now)
	d.audit(c.Data)
	d.backup(c.Data, now)

	var b strings.Builder
	for _, line := range d.well {
		fmt.Fprintf(&b, "well    %s\n", line)
	}
	for _, w := range d.wrong {
		fmt.Fprintf(&b, "WRONG   %s: %s\n", w.part, w.what)
		if w.do != "" {
			fmt.Fprintf(&b, "        %s\n", w.do)
		}
	}
	if err := write(e.out, []byte(printable(b.String()))); err != nil {
		return err
	}
	if len(d.wrong) > 0 {
		return errFails
	}
	return nil
}

func (d *doctor) disk(dir string) {
	free := bus.Free(dir)
	switch {
	case free < 0:
		d.bad("disk", "", "how much room is left cannot be told")
	case free < leastFree:
		d.bad("disk", "make room, or have serve keep less: --keep-days, --keep-gb", "only %d MB are left for the data folder; a recording stops when there is none", free/1e6)
	default:
		d.ok("disk: %.1f GB left", float64(free)/1e9)
	}
	// A file that is written, synced and removed tells what a look at rights cannot.
	f, err := os.CreateTemp(dir, ".doctor-*")
	if err == nil {
		_, err = f.WriteString("plumbhook")
		err = errors.Join(err, f.Sync(), f.Close(), os.Remove(f.Name()))
	}
	if err != nil {
		d.bad("disk", "look at the rights to the folder and at the disk", "nothing can be written to the data folder: %v", err)
	}
}

// held tells whether a program serves the folder.
func (d *doctor) held(dir string) bool {
	lock, err := serving(dir)
	if err != nil {
		d.ok("folder: a program serves it")
		return true
	}
	lock.Close()
	d.ok("folder: no program serves it now")
	return false
}

// ports asks the running program; or tells who stands in its way.
func (d *doctor) ports(c *doctorCmd, served bool) {
	if !served {
		for name, addr := range map[string]string{"--listen": c.Listen, "--mqtt": c.MQTT} {
			if ln, err := net.Listen("tcp", addr); err != nil {
				d.bad("ports", "stop what listens there, or give serve another address with "+name, "%s cannot be listened on: %v", addr, err)
			} else {
				ln.Close()
			}
		}
		return
	}
	client := &http.Client{Timeout: slowAnswer}
	r, err := client.Get("http://" + c.Listen + "/readyz")
	if err != nil {
		d.bad("ports", "look at its log; give doctor the address that serve has with --listen. Over TLS, ask https://ADDRESS/readyz", "the program that serves the folder does not answer at %s: %v", c.Listen, err)
		return
	}
	defer r.Body.Close()
	var h contract.Health
	if err := json.NewDecoder(r.Body).Decode(&h); err != nil {
		d.bad("ports", "give doctor the address that serve has with --listen", "what answers at %s is not this program", c.Listen)
		return
	}
	for _, p := range h.Parts {
		if p.State == "ok" {
			d.ok("%s: %s", p.Name, p.Text)
		} else {
			d.bad(p.Name, "", "%s: %s", p.State, p.Text)
		}
	}
	if !h.Ready && len(h.Parts) == 0 {
		d.bad("watch", "look at its log", "the program says that it is not ready")
	}
}

func (d *doctor) register(dir string, on register.Date) {
	if !store.Exists(dir) {
		d.ok("register: there is none yet")
		return
	}
	ctx := context.Background()
	s, err := store.Open(ctx, dir, false)
	if err != nil {
		d.fault("register", err)
		return
	}
	defer s.Close()
	counts, err := s.Check(ctx)
	if err != nil {
		d.fault("register", err)
		return
	}
	d.ok("register: %s", counts)
	if counts.Persons == 0 {
		d.bad("persons", "start serve and make the first admin with the code that it prints", "nobody is registered")
	}
	due, err := s.Due(ctx, on.AddDays(soonDue))
	if err != nil {
		d.fault("register", err)
		return
	}
	for i, x := range due {
		if i == mostReported {
			d.bad("gear", "see gear due", "and %d more", len(due)-i)
			break
		}
		switch {
		case x.By == "":
			d.bad("gear", "enter when it is due, or take it out of service", "%s has no day on record for %s", x.Serial, x.Duty)
		case x.By < on:
			d.bad("gear", "have it done, or take the piece out of service", "%s: %s was due on %s", x.Serial, x.Duty, x.By)
		default:
			d.bad("gear", "have it done in time", "%s: %s is due on %s", x.Serial, x.Duty, x.By)
		}
	}
}

// recordings goes through all that is recorded.
func (d *doctor) recordings(dir string) {
	err := filepath.WalkDir(dir, func(at string, de fs.DirEntry, err error) error {
		if err != nil || !de.IsDir() || de.Name() != "record" {
			return err
		}
		r, err := record.NewReader(at)
		if err != nil {
			d.fault("recording", err)
			return fs.SkipDir
		}
		entries, holes := 0, 0
		for _, err := range r.From(0) {
			if err == nil {
				entries++
				continue
			}
			if holes++; holes <= mostReported {
				d.bad("recording", "say so in the lift's report; what is lacking cannot be brought back unless a backup has it", "%s lacks something: %v", at, err)
			}
		}
		if holes == 0 {
			d.ok("recording %s: %d entries, none lacking", at, entries)
		}
		return fs.SkipDir
	})
	if err != nil {
		d.bad("recording", "look at your rights", "%v", err)
	}
}

func (d *doctor) certificates(dir string, now time.Time) {
	a, err := authority.Load(dir)
	if err != nil && fault.Of(err)[0].Code == fault.Missing {
		d.ok("certificates: none; this machine alone can be served")
		return
	}
	if err != nil {
		d.fault("certificates", err)
		return
	}
	switch left := a.Until().Sub(now); {
	case left < 0:
		d.bad("certificates", "run certify anew, and have every tablet trust the new one", "the authority ran out on %s: tablets refuse it", a.Until().Format(time.DateOnly))
	case left < soonOut:
		d.bad("certificates", "run certify anew, and have every tablet trust the new one", "the authority runs out on %s", a.Until().Format(time.DateOnly))
	default:
		d.ok("certificates: the authority holds until %s", a.Until().Format(time.DateOnly))
	}
}

func (d *doctor) audit(dir string) {
	n, head, _, err := audit.Verify(filepath.Join(dir, auditFile))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		d.ok("audit log: there is none yet")
	case err != nil:
		d.fault("audit log", err)
	default:
		d.ok("audit log: %d lines, chain whole, head %s", n, head)
	}
}

func (d *doctor) backup(dir string, now time.Time) {
	switch l, made := backup.LastOf(dir); {
	case !made:
		d.bad("backup", "plumbhook backup, onto another machine or disk", "none was ever made")
	case now.Sub(l.At) > oldBackup:
		d.bad("backup", "plumbhook backup, onto another machine or disk", "the newest, %s, is %d days old", l.Name, int(now.Sub(l.At).Hours()/24))
	default:
		d.ok("backup: %s, made %s", l.Name, l.At.Format(time.RFC3339))
	}
}
