package cli

import (
	"fmt"
	"runtime/debug"
)

type versionCmd struct{}

// Run prints the module's version as the build recorded it.
func (versionCmd) Run(e *env) error {
	v := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		v = info.Main.Version
	}
	_, err := fmt.Fprintf(e.out, "plumbhook %s\n", v)
	return err
}
