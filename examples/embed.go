// Package examples holds lifts of an invented place, Kestrel Point waterworks,
// for the demonstration and for tests.
package examples

import _ "embed"

// FilterShell is the lift file of the demonstration: four legs with a load
// cell each.
//
//go:embed filter-shell.yaml
var FilterShell []byte
