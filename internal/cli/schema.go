package cli

import "plumbhook/lift"

type schemaCmd struct{}

// Help goes on where the list of flags ends.
func (*schemaCmd) Help() string { return "Exit status: 0 printed; 2 wrong usage; 3 anything else." }

// Run prints the schema.
func (*schemaCmd) Run(e *env) error {
	s, err := lift.Schema()
	if err != nil {
		return err
	}
	return write(e.out, append(s, '\n'))
}
