// Package report holds the printed sheets of a lift.
package report
