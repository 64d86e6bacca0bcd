package cli

import (
	"cmp"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/record/seal"
	"plumbhook/verdict"
)

type verifyCmd struct {
	Record string `arg:"" placeholder:"RECORD.zip" help:"Sealed record."`
	Key    string `placeholder:"PUB" help:"Public key of whoever should have sealed it: a PEM file, or its 64 digits. From somewhere else than the record itself."`
	Before string `placeholder:"PREVIOUS.zip" help:"The record that was sealed before it: does this one follow?"`
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

// Help says what is looked at.
func (*verifyCmd) Help() string {
	return `Works out what every byte of a sealed record must be, and says which file and which 64 KiB of it are not as sealed, what is missing, added, swapped, cut. Needs no network. Without --key it cannot say who sealed it: anybody can seal a record with a key of his own.

Exit status: 0 intact; 1 not intact, sealed with another key, or not the one that follows; 2 a file cannot be read; 3 anything else.`
}

// Run verifies.
func (c *verifyCmd) Run(e *env) error {
	rep, err := verified(c.Record)
	if err != nil {
		return err
	}
	out := contract.NewVerify(rep)
	out.Cautions = verdict.Cautions
	if c.Key != "" {
		key, err := publicKey(c.Key)
		if err != nil {
			return err
		}
		out.Key = map[bool]string{true: "as_given", false: "another"}[rep.Signer.Equal(key)]
	}
	if c.Before != "" {
		before, err := verified(c.Before)
		if err != nil {
			return err
		}
		out.Before = "follows"
		if err := rep.Follows(before); err != nil {
			out.Before, out.Why = "does_not_follow", err.Error()
		}
	}
	if c.Format == "json" {
		err = writeJSON(e.out, out)
	} else {
		err = write(e.out, []byte(printable(verifyText(&out))))
	}
	if err == nil && (!out.Intact || out.Key == "another" || out.Before == "does_not_follow") {
		err = errFails
	}
	return err
}

func verified(path string) (*seal.Report, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the record cannot be read").In(path).Because(err).Fix("check the path")
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is no file")
	}
	if err != nil {
		return nil, fault.New(fault.Path, "the record cannot be read").In(path).Because(err).Fix("check the path")
	}
	return seal.Verify(f, info.Size())
}

// publicKey reads what --key was given: digits or a file.
func publicKey(given string) (ed25519.PublicKey, error) {
	if key, err := seal.ParsePublic([]byte(given)); err == nil {
		return key, nil
	}
	f, err := os.Open(given)
	if err != nil {
		return nil, fault.New(fault.Path, "the key cannot be read").In(given).Because(err).Fix("give a PEM file, or the 64 digits of the key")
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, 1<<16))
	if err != nil {
		return nil, fault.New(fault.Path, "the key cannot be read").In(given).Because(err)
	}
	return seal.ParsePublic(b)
}

// verifyText writes the answer for people.
func verifyText(v *contract.Verify) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	switch {
	case !v.Intact:
		line("NOT INTACT")
	case v.Key == "another":
		line("SEALED WITH ANOTHER KEY than the one given: its bytes agree with one another, but anybody can make that so")
	case v.Key == "as_given":
		line("intact, sealed with the key given")
	default:
		line("intact, signer unknown")
	}
	for _, p := range v.Problems {
		where := cmp.Or(p.File, "the record")
		if p.To > 0 {
			line("  %s: %s (bytes %d to %d)", where, p.Text, p.From, p.To-1)
		} else {
			line("  %s: %s", where, p.Text)
		}
	}
	if v.Unlisted > 0 {
		line("  and %d more", v.Unlisted)
	}
	if r := v.Record; r != nil {
		line("")
		if !v.Intact {
			line("What it says of itself, which cannot be relied upon:")
		}
		line("record     %d, sealed %s by %s", r.Number, r.Sealed.Format(time.RFC3339), r.Program)
		line("lift       %s, revision %s", r.Title, r.Revision)
		line("readings   %d, %s to %s", r.Readings, cmp.Or(r.From, "none"), cmp.Or(r.To, "none"))
		for _, what := range r.Missing {
			line("lacks      %s", what)
		}
		var keep []seal.Keep
		for _, k := range r.Keep {
			keep = append(keep, seal.Keep(k))
		}
		b.WriteString(keepText(keep))
		line("key        %s", cmp.Or(v.Signer, "cannot be told"))
		if c := v.Counter; c != nil {
			line("counter    signed %s with %s, whose key that is cannot be told", c.At.Format(time.RFC3339), c.Key)
		}
		line("head       %s", r.Head)
		switch {
		case v.Before == "follows":
			line("follows    the record given, %s", r.Before)
		case v.Before == "does_not_follow":
			line("DOES NOT FOLLOW the record given: %s", v.Why)
		case r.Before == "":
			line("follows    none: it is the first of its chain")
		default:
			line("follows    %s, which was not looked at", r.Before)
		}
	}
	line("")
	line("%s", verdict.Cautions)
	return b.String()
}
