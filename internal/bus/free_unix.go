//go:build unix

package bus

import "golang.org/x/sys/unix"

// Free is the space an ordinary program can still use beside a path, in bytes.
func Free(path string) int64 {
	var s unix.Statfs_t
	if path == "" || unix.Statfs(path, &s) != nil {
		return -1
	}
	return int64(s.Bavail) * int64(s.Bsize)
}
