// Command plumbhook plans a lift, watches it and keeps the record.
package main

import (
	"os"

	"plumbhook/internal/cli"
)

func main() {
	os.Exit(cli.Run(os.Args[1:], os.Stdout, os.Stderr))
}
