package seal

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
	"time"

	"plumbhook/fault"
)

// A Countersignature is somebody else's word, usually a hub's, that a record
// was there at a time: whoever holds only the signer's key cannot have made it
// later. It stands in the record as a text of five lines,
//
//	plumbhook countersignature 1
//	manifest SHA-256 of manifest.json, hexadecimal
//	at       time, 2026-11-25T17:23:19Z
//	key      public key, hexadecimal
//	ed25519  signature over the four lines before, hexadecimal
type Countersignature struct {
	Manifest string
	At       time.Time
	Key      ed25519.PublicKey
	Signed   []byte
}

const (
	counterForm = "plumbhook countersignature 1\nmanifest %s\nat       %s\nkey      %x\n"
	counterLast = "ed25519  %x\n"
	counterSize = 29 + 9 + 65 + 9 + 21 + 9 + 65 + 9 + 129
)

func (c *Countersignature) message() []byte {
	return fmt.Appendf(nil, counterForm, c.Manifest, c.At.UTC().Format(time.RFC3339), []byte(c.Key))
}

func (c *Countersignature) encode() []byte {
	return fmt.Appendf(c.message(), counterLast, c.Signed)
}

// parseCounter reads what encode wrote, of a signature that holds.
func parseCounter(b []byte) (*Countersignature, error) {
	lines := strings.Split(string(b), "\n")
	if len(b) != counterSize || len(lines) != 6 {
		return nil, fault.New(fault.Syntax, "it is not spelled as a countersignature is")
	}
	for i := 1; i < 5; i++ {
		lines[i] = lines[i][min(9, len(lines[i])):]
	}
	c := &Countersignature{Manifest: lines[1]}
	var err1, err2, err3 error
	c.At, err1 = time.Parse(time.RFC3339, lines[2])
	c.Key, err2 = hex.DecodeString(lines[3])
	c.Signed, err3 = hex.DecodeString(lines[4])
	if err1 != nil || err2 != nil || err3 != nil || len(c.Key) != ed25519.PublicKeySize || !bytes.Equal(c.encode(), b) {
		return nil, fault.New(fault.Syntax, "it is not spelled as a countersignature is")
	}
	if !ed25519.Verify(c.Key, c.message(), c.Signed) {
		return nil, fault.New(fault.Disagree, "its signature does not hold")
	}
	return c, nil
}

// Countersign writes an intact record again, with a countersignature at its
// end in place of one that was there.
func Countersign(w io.Writer, r io.ReaderAt, size int64, key ed25519.PrivateKey, at time.Time) error {
	rep, err := Verify(r, size)
	if err != nil {
		return err
	}
	if !rep.Intact() {
		return fault.New(fault.Disagree, "the record is not intact: %s", rep.Problems[0].Text).Fix("do not vouch for it")
	}
	c := &Countersignature{Manifest: rep.Head, At: at, Key: key.Public().(ed25519.PublicKey)}
	c.Signed = ed25519.Sign(key, c.message())
	text := Bytes(counterName, c.encode())
	_, crc, err := sum(text)
	if err != nil {
		return err
	}
	parts := rep.parts(r)
	return assemble(w, append(parts, content{entry{name: counterName, crc: crc, size: text.Size()}, text.SectionReader}))
}
