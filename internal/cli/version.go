package cli

import "runtime/debug"

type versionCmd struct{}

// Help goes on where the list of flags ends.
func (*versionCmd) Help() string { return "Exit status: 0 printed; 2 wrong usage; 3 anything else." }

// Run prints the module's version as the build recorded it.
func (*versionCmd) Run(e *env) error {
	v := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		v = info.Main.Version
	}
	return write(e.out, []byte("plumbhook "+v+"\n"))
}
