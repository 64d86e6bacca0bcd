package cli

import (
	"fmt"
	"os"

	"plumbhook/fault"
	"plumbhook/record/seal"
)

type signerCmd struct {
	Data string `placeholder:"DIR" help:"Data folder that holds the key; the user's own when left out."`
	Out  string `short:"o" placeholder:"FILE" help:"Write the public key there (PEM), to be given to whoever is to verify."`
}

// Help says what it is for.
func (*signerCmd) Help() string {
	return `Prints the public key that records are sealed with, and the head of the chain: the last record's number and hash. A head that is noted down elsewhere, or told to somebody, proves later that no record was taken out or put in. Makes the key when there is none.

Exit status: 0 done; 2 the folder cannot be read; 3 anything else.`
}

// Run prints key and head.
func (c *signerCmd) Run(e *env) error {
	data := c.Data
	if data == "" {
		var err error
		if data, err = ownData(); err != nil {
			return err
		}
	}
	s, made, err := seal.OpenSigner(signerDir(data), "")
	if err != nil {
		return err
	}
	last, err := s.Last()
	if err != nil {
		return err
	}
	if c.Out != "" {
		if err := os.WriteFile(c.Out, s.PublicPEM(), 0o644); err != nil {
			return other(fault.New(fault.Path, "the key cannot be written").In(c.Out).Because(err))
		}
	}
	head := "head       none: nothing is sealed yet\n"
	if last.Number > 0 {
		head = fmt.Sprintf("head       %s\nrecord     %d, %s, %s\n", last.Head, last.Number, last.Sealed, last.Title)
	}
	return write(e.out, []byte(printable(fmt.Sprintf("key        %x%s\n%skept in    %s\n", []byte(s.Public()), map[bool]string{true: ", made just now"}[made], head, signerDir(data)))))
}
