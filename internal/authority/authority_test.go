package authority

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func made(t *testing.T, names ...string) *Authority {
	t.Helper()
	dir := t.TempDir()
	if err := Make(dir, names, time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := Make(dir, names, time.Now()); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("made twice: %v", err)
	}
	if i, err := os.Stat(filepath.Join(dir, folder, keyFile)); err != nil || i.Mode().Perm() != 0o600 {
		t.Errorf("the key: %v %v", i, err)
	}
	a, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	a.ips = func() []net.IP { return []net.IP{net.IPv4(192, 168, 7, 2)} }
	return a
}

// A browser that trusts the authority reaches the machine by its names and
// private addresses, and by nothing else that the authority might sign.
func TestTrust(t *testing.T) {
	a := made(t, "yard", "yard.local")
	leaf, err := a.Certificate(nil)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(a.PEM()) {
		t.Fatal("no certificate")
	}
	for host, good := range map[string]bool{"yard": true, "yard.local": true, "192.168.7.2": true, "192.168.7.3": false, "kestrel-point.example": false} {
		if _, err := leaf.Leaf.Verify(x509.VerifyOptions{Roots: pool, DNSName: host}); (err == nil) != good {
			t.Errorf("%s: %v", host, err)
		}
	}
	a.ips = func() []net.IP { return []net.IP{net.IPv4(8, 8, 8, 8)} }
	stray, err := a.Certificate(nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stray.Leaf.Verify(x509.VerifyOptions{Roots: pool}); err == nil {
		t.Error("the authority certifies a public address")
	}
	ln, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{GetCertificate: a.Certificate})
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	go func() {
		if c, err := ln.Accept(); err == nil {
			_ = c.(*tls.Conn).Handshake()
			c.Close()
		}
	}()
	a.ips = func() []net.IP { return nil }
	c, err := tls.Dial("tcp", ln.Addr().String(), &tls.Config{RootCAs: pool, ServerName: "yard"})
	if err != nil {
		t.Fatal(err)
	}
	c.Close()
}

func TestRenewal(t *testing.T) {
	a := made(t, "yard")
	first, _ := a.Certificate(nil)
	if again, _ := a.Certificate(nil); again != first {
		t.Error("made anew at every call")
	}
	a.now = func() time.Time { return time.Now().Add(leafHolds - renew + time.Hour) }
	later, _ := a.Certificate(nil)
	if later == first || !later.Leaf.NotAfter.After(first.Leaf.NotAfter) {
		t.Error("not made anew before it runs out")
	}
	a.ips = func() []net.IP { return []net.IP{net.IPv4(10, 0, 0, 9)} }
	if moved, _ := a.Certificate(nil); moved == later || !moved.Leaf.IPAddresses[0].Equal(net.IPv4(10, 0, 0, 9)) {
		t.Error("not made anew at another address")
	}
}

func TestLoad(t *testing.T) {
	if _, err := Load(t.TempDir()); err == nil || !strings.Contains(err.Error(), "certify") {
		t.Errorf("nothing there: %v", err)
	}
	dir := t.TempDir()
	if err := Make(dir, []string{"yard"}, time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, folder, keyFile), []byte("no key"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(dir); err == nil {
		t.Error("a key that is none")
	}
}
