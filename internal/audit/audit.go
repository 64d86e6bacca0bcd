// Package audit keeps who did what over the network: one line of JSON for each,
// never altered, each with the checksum of the line before it. Who changes or
// takes out a line breaks the chain from there on; who rewrites all of it has
// another head than the one that was noted elsewhere.
//
// A line says who asked, from where, for which route of the API, and the answer's
// status. What was sent is not in it, so no secret is either.
package audit

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"sync"
	"time"

	"plumbhook/fault"
)

// Entry is one line.
type Entry struct {
	N      uint64    `json:"n"` // from 1
	At     time.Time `json:"at"`
	Who    string    `json:"who,omitempty"` // empty: nobody was signed in
	From   string    `json:"from"`          // address
	Did    string    `json:"did"`           // method and path
	Status int       `json:"status"`
	Prev   string    `json:"prev"` // SHA-256 of the line before; empty for the first
}

// Log is one file of lines.
type Log struct {
	mu   sync.Mutex
	f    *os.File
	n    uint64
	head string
	bad  error // of the last line that could not be written
}

// Open opens the log, or begins it. A line that a crash left half written is cut.
func Open(path string) (*Log, error) {
	n, head, whole, err := Verify(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o600)
	if err == nil {
		err = f.Truncate(whole)
	}
	if err == nil {
		_, err = f.Seek(whole, io.SeekStart)
	}
	if err != nil {
		return nil, fault.New(fault.Path, "the audit log cannot be opened").In(path).Because(err).Fix("look at your rights to it")
	}
	return &Log{f: f, n: n, head: head}, nil
}

// Note writes a line. The system has it then: a kill leaves it, a power cut may
// not. Nothing that people do waits for a disk because of it.
func (l *Log) Note(e Entry) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	e.N, e.Prev = l.n+1, l.head
	line, err := json.Marshal(e)
	if err == nil {
		_, err = l.f.Write(append(line, '\n'))
	}
	if l.bad = err; err != nil {
		return err
	}
	l.n, l.head = e.N, sum(line)
	return nil
}

// Close closes it.
func (l *Log) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return errors.Join(l.f.Sync(), l.f.Close())
}

func sum(line []byte) string {
	s := sha256.Sum256(line)
	return hex.EncodeToString(s[:])
}

// Verify goes through a log: how many lines, the checksum of the last, and how
// many bytes are whole lines. A chain that does not hold is a fault.
func Verify(path string) (n uint64, head string, whole int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, "", 0, err
	}
	defer f.Close()
	in := bufio.NewReader(f)
	for {
		line, err := in.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			return n, head, whole, nil
		}
		if err != nil {
			return n, head, whole, fault.New(fault.Path, "the audit log cannot be read").In(path).Because(err)
		}
		text := line[:len(line)-1]
		var e Entry
		if json.Unmarshal(text, &e) != nil || e.N != n+1 || e.Prev != head {
			return n, head, whole, fault.New(fault.Disagree, "the audit log was altered after line %d", n).In(path).
				Fix("keep the file as it is and find out who could write to it; move it away for a new one to begin")
		}
		n, head, whole = e.N, sum(text), whole+int64(len(line))
	}
}
