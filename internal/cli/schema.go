package cli

import (
	"plumbhook/lift"
	"plumbhook/metrology"
	"plumbhook/prove"
	"plumbhook/weigh"
)

type schemaCmd struct {
	Of string `arg:"" optional:"" enum:"lift,proof,survey,certificate" default:"lift" help:"The file: lift (default), proof, survey or certificate."`
}

// Help goes on where the list of flags ends.
func (*schemaCmd) Help() string { return "Exit status: 0 printed; 2 wrong usage; 3 anything else." }

// Run prints the schema.
func (c *schemaCmd) Run(e *env) error {
	schema := map[string]func() ([]byte, error){
		"lift":   lift.Schema,
		"proof":  func() ([]byte, error) { return prove.Shape().Schema("proof", "Plumbhook proof test file") },
		"survey": func() ([]byte, error) { return weigh.Shape().Schema("survey", "Plumbhook survey file") },
		"certificate": func() ([]byte, error) {
			return metrology.CertificateShape().Schema("certificate", "Plumbhook certificate file")
		},
	}[c.Of]
	s, err := schema()
	if err != nil {
		return err
	}
	return write(e.out, append(s, '\n'))
}
