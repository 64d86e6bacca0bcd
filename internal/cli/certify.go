package cli

import (
	"fmt"
	"os"
	"time"

	"plumbhook/internal/authority"
)

type certifyCmd struct {
	Data string   `required:"" placeholder:"DIR" help:"Data folder that serve uses."`
	Name []string `placeholder:"HOST" help:"A further name that tablets reach this machine by. Give it again for each."`
}

// Help says what it is for.
func (*certifyCmd) Help() string {
	return `Browsers give a page the camera, and keep the screen awake for it, over TLS alone. This makes a certificate authority of one's own in the data folder, good for this machine's names and for private addresses. ` +
		`serve then has TLS for other machines, and shows at /certificate how a tablet is made to trust it. Exit status: 0 made; 2 there is one already, or the folder cannot be written; 3 anything else.`
}

// Run makes it.
func (c *certifyCmd) Run(e *env) error {
	names := append([]string{}, c.Name...)
	if host, err := os.Hostname(); err == nil {
		names = append(names, host, host+".local")
	}
	names = append(names, "localhost")
	if err := authority.Make(c.Data, names, time.Now()); err != nil {
		return err
	}
	a, err := authority.Load(c.Data)
	if err != nil {
		return err
	}
	return write(e.out, fmt.Appendf(nil, "made for %v and private addresses\nSHA-256 of its certificate, to compare on each tablet before trusting it:\n%s\n", names, a.Fingerprint()))
}
