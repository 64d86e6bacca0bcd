package cli

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/backup"
	"plumbhook/internal/store"
	"plumbhook/record"
)

type backupCmd struct {
	Data string `required:"" placeholder:"DIR" help:"Data folder."`
	Out  string `short:"o" required:"" placeholder:"OUT.zip" help:"Backup to write; it must not exist yet."`
}

// Help says what is in it.
func (*backupCmd) Help() string {
	return `Copies a data folder into one file while it is in use, reads the copy back and checks it: every file by its SHA-256, the register, every event of every piece of gear, every attachment, every entry of the recordings. It has the keys and the hashes of the passwords in it: keep it as you would keep those. What comes later is not in it, nor what is on its way into the recording.

Exit status: 0 done and checked; 1 done, and the recordings have holes; 2 the folder cannot be read; 3 anything else.`
}

// Run writes it.
func (c *backupCmd) Run(e *env) error {
	told, err := backup.Write(context.Background(), c.Data, c.Out, time.Now())
	return tell(e, "backed up and checked", c.Out, told, err)
}

type restoreCmd struct {
	Backup string `arg:"" help:"Backup that plumbhook backup wrote."`
	Data   string `required:"" placeholder:"DIR" help:"Data folder to make; it must not exist yet."`
}

// Help says how.
func (*restoreCmd) Help() string {
	return `Makes a data folder of a backup, checks all of it, and gives it its name only when all is well. It never writes over anything. A register that was on a PostgreSQL server comes back as a file in the folder; plumbhook move takes it to a server again.

Exit status: 0 done and checked; 1 done, and the recordings have holes, which they had when the backup was made; 2 the backup cannot be read or is not what was written; 3 anything else.`
}

// Run restores it.
func (c *restoreCmd) Run(e *env) error {
	told, err := backup.Restore(context.Background(), c.Backup, c.Data)
	return tell(e, "restored and checked", c.Data, told, err)
}

func tell(e *env, done, where string, t *backup.Told, err error) error {
	if t == nil {
		return err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s, %d files, %d bytes\n%s; %d entries of recordings\n", done, where, t.Files, t.Bytes, t.Counts, t.Entries)
	for _, name := range t.Left {
		fmt.Fprintf(&b, "left out   %s\n", name)
	}
	for _, hole := range t.Holes {
		fmt.Fprintf(&b, "lacks      %s\n", hole)
	}
	if werr := write(e.out, []byte(printable(b.String()))); werr != nil {
		return werr
	}
	if err == nil && len(t.Holes) > 0 {
		err = errFails
	}
	return err
}

type moveCmd struct {
	Data string `required:"" placeholder:"DIR" help:"Data folder."`
	To   string `required:"" placeholder:"WHERE" help:"postgres://USER@HOST/DATABASE of an empty database (a password is better kept in PGPASSFILE), or sqlite for a file in the data folder."`
}

// Help says how.
func (*moveCmd) Help() string {
	return `Moves the register, the lifts and the persons of a data folder to a PostgreSQL server, or from there into a file in the folder, compares both row by row, and has the folder name the new place. The old one stays as it was and refuses to be written to. Attachments and recordings stay in the folder. Nothing may serve the folder meanwhile.

Exit status: 0 moved and compared; 2 it cannot be, and is where it was; 3 anything else.`
}

// Run moves it.
func (c *moveCmd) Run(e *env) error {
	lock, err := serving(c.Data)
	if err != nil {
		return err
	}
	defer lock.Close()
	to, where := c.To, ""
	switch u, err := url.Parse(c.To); {
	case c.To == "sqlite":
		to, where = "", filepath.Join(c.Data, store.Database)
	case err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql":
		return option("to", fault.New(fault.Syntax, "this is neither sqlite nor the address of a PostgreSQL server").Fix("write postgres://USER@HOST/DATABASE or sqlite"))
	default:
		where = u.Redacted()
	}
	counts, err := store.Move(context.Background(), c.Data, to)
	if err != nil {
		return err
	}
	return write(e.out, fmt.Appendf(nil, "moved and compared: %s\nthe register is now at %s\n", counts, printable(where)))
}

// lockFile is held by who serves a data folder.
const lockFile = "lock"

// serving takes a data folder for one program that serves or moves it.
func serving(dir string) (io.Closer, error) {
	if !isDir(dir) {
		return nil, fault.New(fault.Path, "there is no such data folder").In(dir).Fix("check the path")
	}
	f, err := record.Lock(filepath.Join(dir, lockFile))
	if err != nil {
		return nil, fault.New(fault.Path, "another program serves this data folder").In(dir).Because(err).Fix("stop it first, or give another folder")
	}
	return f, nil
}
