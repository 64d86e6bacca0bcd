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

	"github.com/alecthomas/kong"

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
	Check   checkCmd   `cmd:"" help:"Hang a lift and say whether the plan holds."`
	Draw    drawCmd    `cmd:"" help:"Draw a lift as it hangs: elevation, plan and pictorial view."`
	Schema  schemaCmd  `cmd:"" help:"Print the JSON Schema of the lift file, for an editor to check and complete with."`
	Version versionCmd `cmd:"" help:"Print the version."`
}

// env is what a command writes to.
type env struct {
	out, err io.Writer
}

// failed is how a command that did its work says that a check fails.
var errFails = errors.New("a check fails")

// Run runs the command line and returns the exit status.
func Run(args []string, stdout, stderr io.Writer) int {
	var cmds commands
	e := &env{stdout, stderr}
	exited := -1
	parser, err := kong.New(&cmds, kong.Name("plumbhook"),
		kong.Description("Plans a lift on one mechanical model of the rigging. Informs a competent person; releases nothing."),
		kong.Writers(stdout, stderr), kong.Exit(func(code int) { exited = code }), kong.Bind(e),
		kong.UsageOnError(), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		fmt.Fprintln(stderr, err)
		return exitOther
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := parser.Parse(args)
	if exited >= 0 { // help was asked for
		return exited
	}
	if err != nil {
		fmt.Fprintf(stderr, "plumbhook: %v\ntry: plumbhook --help\n", err)
		return exitInvalid
	}
	err = ctx.Run()
	switch {
	case err == nil:
		return exitHolds
	case errors.Is(err, errFails):
		return exitFails
	}
	faults := fault.Of(err)
	status := exitInvalid
	for _, f := range faults {
		fmt.Fprintln(stderr, f.Error())
		if f.Code == fault.Internal {
			status = exitOther
		}
	}
	return status
}

// read loads a lift file; paths inside it are looked up in its own folder.
func read(path string) (*lift.Lift, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the lift file can not be read").Because(err).Fix("check the path")
	}
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, fault.New(fault.Path, "the lift file's folder can not be opened").Because(err)
	}
	defer root.Close()
	return lift.Read(path, root.FS(), data)
}

// writeJSON prints a contract value.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}
