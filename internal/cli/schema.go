package cli

import "plumbhook/lift"

type schemaCmd struct{}

// Run prints the schema.
func (schemaCmd) Run(e *env) error {
	s, err := lift.Schema()
	if err != nil {
		return err
	}
	_, err = e.out.Write(append(s, '\n'))
	return err
}
