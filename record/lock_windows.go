package record

import (
	"os"
	"syscall"
)

// Lock takes a file for this process until the file is closed or the process
// ends, however it ends: nobody else can open it meanwhile.
func Lock(path string) (*os.File, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, err
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, 0, nil,
		syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(h), path), nil
}

// SyncDir has nothing to do: the system cannot sync a folder, and keeps names
// in its own journal.
func SyncDir(string) error { return nil }
