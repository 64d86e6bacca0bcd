// Package cli is the command line: one file per command, and this one, which
// reads the arguments and turns errors into words and an exit status.
//
// Exit status: 0 it holds; 1 a check fails, or something needed is missing;
// 2 the input is invalid or can not be read, usage included; 3 anything else.
package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"github.com/alecthomas/kong"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/lift"
)

// The exit statuses.
const (
	exitHolds   = 0
	exitFails   = 1
	exitInvalid = 2
	exitOther   = 3
)

// commands is what kong parses.
type commands struct {
	Admit     admitCmd     `cmd:"" help:"Let a site join this hub, and write the file that its serve needs."`
	Backup    backupCmd    `cmd:"" help:"Copy a data folder into one file while it is in use, and check the copy."`
	Calibrate calibrateCmd `cmd:"" help:"Review the certificates of a load cell: curve, class, uncertainty, drift, when it is due."`
	Complete  completeCmd  `cmd:"" help:"Print a script that has a shell complete commands and options."`
	Certify   certifyCmd   `cmd:"" help:"Make the certificates with which serve reaches tablets over TLS."`
	Check     checkCmd     `cmd:"" help:"Hang a lift and say whether the plan holds."`
	Drill     drillCmd     `cmd:"" help:"Try the alarms: play written readings to the watch and see whether it says what it must."`
	Demo      demoCmd      `cmd:"" help:"Watch virtual lifts on the live page: nothing to configure."`
	Doctor    doctorCmd    `cmd:"" help:"Say in plain words what is wrong with a data folder and the program that serves it."`
	Draw      drawCmd      `cmd:"" help:"Draw a lift as it hangs: elevation, plan and pictorial view."`
	Export    exportCmd    `cmd:"" help:"Write all that a data folder holds into one zip archive."`
	Card      cardCmd      `cmd:"" help:"Print the card of what every load cell must read, and when to stop."`
	Gear      gearCmd      `cmd:"" help:"The register of gear with serials: what it is, whether it is in date, what happened to it."`
	Manual    manualCmd    `cmd:"" help:"Print the manual page."`
	Move      moveCmd      `cmd:"" help:"Move the register of a data folder to a PostgreSQL server, or back into a file."`
	Prove     proveCmd     `cmd:"" help:"Work out a proof test or a pull, and judge what was read of it."`
	Rehearse  rehearseCmd  `cmd:"" help:"Play a lift on a virtual crane, with a fault on demand, and write its readings."`
	Replay    replayCmd    `cmd:"" help:"Go through recorded readings with the engine of the watch, and say what it would have said."`
	Restore   restoreCmd   `cmd:"" help:"Make a data folder of a backup, and check it."`
	Schema    schemaCmd    `cmd:"" help:"Print the JSON Schema of a file, for an editor to check and complete with."`
	Serve     serveCmd     `cmd:"" help:"Serve the app: plan, approve, watch; with a lift file, watch that lift."`
	Sheet     sheetCmd     `cmd:"" help:"Print a sheet as PDF: lift plan, crew card, expected readings, briefing, gear issue, reports after the lift."`
	Signer    signerCmd    `cmd:"" help:"Print the public key that records are sealed with, and the head of their chain."`
	Size      sizeCmd      `cmd:"" help:"Choose leg lengths, gear and load cells."`
	Trial     trialCmd     `cmd:"" help:"Play virtual lifts with known faults and count how often the watch explains them rightly."`
	Verify    verifyCmd    `cmd:"" help:"Say whether every byte of a sealed record is as it was sealed, and by whom."`
	Weigh     weighCmd     `cmd:"" help:"Work out a weighing: mass, weight and centre of gravity with their uncertainty."`
	Version   versionCmd   `cmd:"" help:"Print the version."`
}

const about = `Plans a lift on one mechanical model of the rigging. Informs a competent person; releases nothing.

Exit status: 0 it holds, or was done; 1 a check fails, or something needed is missing; 2 the input is invalid or cannot be read, or wrong usage; 3 anything else.`

// env is what a command writes to.
type env struct {
	out io.Writer
}

var (
	// errFails is how a command that did its work says that a check fails.
	errFails = errors.New("a check fails")
	// errOther marks what is neither the plan's nor the input's fault.
	errOther = errors.New("")
)

// Run runs the command line and returns the exit status.
func Run(args []string, stdout, stderr io.Writer) int {
	var cmds commands
	helped := -1
	parser, err := kong.New(&cmds, kong.Name("plumbhook"), kong.Description(about),
		kong.Writers(stdout, stderr), kong.Exit(func(code int) { helped = code }), kong.Bind(&env{stdout}),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 80}))
	if err != nil {
		return report(stderr, err)
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := parser.Parse(args)
	switch {
	case helped >= 0:
		return helped
	case err != nil:
		fmt.Fprintln(stderr, printable(fmt.Sprintf("plumbhook: %v; plumbhook --help says what there is", err)))
		return exitInvalid
	}
	err = guard(func() error { return ctx.Run() })
	if err != nil && !errors.Is(err, errFails) && asksJSON(ctx) {
		_ = writeJSON(stdout, contract.NewFaults(err)) // what cannot be written is told below all the same
	}
	return report(stderr, err)
}

// asksJSON says whether the command was asked for JSON: then what went wrong is
// told in JSON too.
func asksJSON(ctx *kong.Context) bool {
	for _, f := range ctx.Flags() {
		if f.Name == "format" {
			return ctx.FlagValue(f) == "json"
		}
	}
	return false
}

// guard runs a command and turns a panic into an error: a person gets one
// line and no stack.
func guard(run func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fault.New(fault.Internal, "the program made a mistake of its own: %v", r).
				Fix("trust no output of this run, and send the lift file with this line to whoever maintains the program")
		}
	}()
	return run()
}

// report says what went wrong and gives the exit status.
func report(stderr io.Writer, err error) int {
	switch {
	case err == nil:
		return exitHolds
	case errors.Is(err, errFails):
		return exitFails
	}
	status, needs := exitInvalid, true // what only the register can tell is missing, not wrong
	for _, f := range fault.Of(err) {
		fmt.Fprintln(stderr, printable(f.Error()))
		if f.Code == fault.Internal {
			status = exitOther
		}
		needs = needs && errors.Is(f, lift.ErrNeedsRegister)
	}
	if needs {
		status = exitFails
	}
	if errors.Is(err, errOther) {
		status = exitOther
	}
	return status
}

// other marks a fault as neither the plan's nor the input's.
func other(f *fault.Fault) error { return fmt.Errorf("%w%w", errOther, f) }

// read loads a lift file; paths inside it are looked up in its own folder.
func read(path string) (*lift.Lift, error) { return readWith(path, nil) }

// readWith does so with a gear register at hand.
func readWith(path string, gear lift.Store) (*lift.Lift, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the lift file cannot be read").Because(err).Fix("check the path")
	}
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, fault.New(fault.Path, "the lift file's folder cannot be opened").Because(err).Fix("check the path")
	}
	defer root.Close()
	return lift.ReadWith(path, root.FS(), data, gear)
}

// stepIndex finds the state after a step; no name is the lift as first rigged.
func stepIndex(l *lift.Lift, name string) (int, error) {
	if name == "" {
		return 0, nil
	}
	for i := range l.Steps {
		if l.Steps[i].Name == name {
			return 1 + i, nil
		}
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 0 && n <= len(l.Steps) {
		return n, nil // its number, 0 for the lift as first rigged
	}
	f := fault.New(fault.Reference, "the lift has no step called %q", name)
	if len(l.Steps) == 0 {
		return 0, f.Fix("the file has no steps; leave --step out")
	}
	names := ""
	for i := range l.Steps {
		names += fmt.Sprintf(" %q", l.Steps[i].Name)
	}
	return 0, f.Fix("its steps are%s, or by number 1 to %d", names, len(l.Steps))
}

// write sends finished output out at once, so that what is cut short is
// noticed.
func write(w io.Writer, text []byte) error {
	if _, err := w.Write(text); err != nil {
		return other(fault.New(fault.Path, "the output cannot be written").Because(err).Fix("what was written is not complete"))
	}
	return nil
}

// writeJSON prints a contract value.
func writeJSON(w io.Writer, v any) error {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return write(w, append(text, '\n'))
}
