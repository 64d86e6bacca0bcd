package cli

import "runtime/debug"

type versionCmd struct{}

// Help goes on where the list of flags ends.
func (*versionCmd) Help() string { return "Exit status: 0 printed; 2 wrong usage; 3 anything else." }

// Run prints the module's version as the build recorded it.
func (*versionCmd) Run(e *env) error { return write(e.out, []byte("plumbhook "+version()+"\n")) }

// version is the module's, as the build recorded it.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		return info.Main.Version
	}
	return "unknown"
}
