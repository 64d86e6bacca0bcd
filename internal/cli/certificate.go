package cli

import (
	"os"
	"path/filepath"

	"plumbhook/fault"
	"plumbhook/report/certificate"
	"plumbhook/report/paper"
)

// certifying is what commands that measure print a certificate with.
type certifying struct {
	PDF      string `name:"pdf" placeholder:"OUT.pdf" help:"Also print the certificate."`
	Language string `enum:"en,es" default:"en" help:"Language of the certificate: en or es."`
	Number   string `placeholder:"DOC-NO" help:"Its document number; a line to write it on when left out."`
}

// certify prints one, if it was asked for.
func (c *certifying) certify(file, system string, print func(certificate.Options) ([]byte, error)) error {
	if c.PDF == "" {
		return nil
	}
	pdf, err := print(certificate.Options{Language: paper.Language(c.Language), Units: units(system), Number: c.Number, Source: filepath.Base(file), Program: "plumbhook " + version()})
	if err != nil {
		return err
	}
	if err := os.WriteFile(c.PDF, pdf, 0o644); err != nil {
		return other(fault.New(fault.Path, "the certificate cannot be written").Because(err).Fix("check the folder and your rights to it"))
	}
	return nil
}
