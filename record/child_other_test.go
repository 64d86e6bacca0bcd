//go:build !unix

package record

func child(string, string) {}
