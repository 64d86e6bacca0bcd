package hub

import (
	"cmp"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nkeys"

	"plumbhook/fault"
	"plumbhook/fleet"
	"plumbhook/keyed"
)

// Settings are a hub's, the same on each of its nodes.
type Settings struct {
	Nodes []Node // in the order of the file: one, or three and more
	Sites []Member
	Keep  Keep
}

// Node is one machine of the hub.
type Node struct {
	Name  string
	Sites string // host and port where sites join
	Nodes string // host and port for the other nodes; empty in a hub of one
}

// Member is a site that may join, by its public key.
type Member struct{ Site, Key string }

// Keep bounds the hub's stream: the oldest goes first.
type Keep struct {
	Days int
	GB   float64 // 10^9 bytes on each node
}

const (
	defaultDays = 90
	defaultGB   = 50
	mostSites   = 2000
)

// copies is on how many nodes each message is.
func (s *Settings) copies() int {
	if len(s.Nodes) >= 3 {
		return 3
	}
	return 1
}

func (s *Settings) node(name string) (Node, error) {
	if name == "" && len(s.Nodes) == 1 {
		return s.Nodes[0], nil
	}
	for _, n := range s.Nodes {
		if n.Name == name {
			return n, nil
		}
	}
	names := make([]string, len(s.Nodes))
	for i, n := range s.Nodes {
		names[i] = n.Name
	}
	return Node{}, fault.New(fault.Reference, "the hub has no node %q", name).In("node").Fix("say which this machine is: %s", strings.Join(names, ", "))
}

// keys gives the public key of each site.
func (s *Settings) keys() map[string]string {
	keys := map[string]string{}
	for _, m := range s.Sites {
		keys[m.Site] = m.Key
	}
	return keys
}

// ReadSettings reads a hub's file:
//
//	hub: 1
//	nodes:
//	  a: {sites: 10.20.0.1:7422, nodes: 10.20.0.1:6222}
//	  b: {sites: 10.20.0.2:7422, nodes: 10.20.0.2:6222}
//	  c: {sites: 10.20.0.3:7422, nodes: 10.20.0.3:6222}
//	keep: {days: 90, gb: 50}
//	sites:
//	  kestrel-point: UBQ...
func ReadSettings(file string, data []byte) (*Settings, error) {
	r := keyed.Reader{File: file}
	root := r.Parse(data)
	if root == nil {
		return nil, r.Err()
	}
	s := &Settings{Keep: Keep{defaultDays, defaultGB}}
	if !r.Keys(root, "a hub's file", "hub", "nodes", "keep", "sites") {
		return nil, r.Err()
	}
	versionOf(&r, root, "hub")
	nodes := root.Get("nodes")
	if nodes == nil || len(nodes.Items) == 0 || nodes.Kind != keyed.Table {
		r.Fault(root, fault.Missing, "a hub has nodes").In("nodes").Fix("write nodes: and below it the name of each, with where sites reach it")
	} else {
		for _, n := range nodes.Items {
			name(&r, n)
			if !r.Keys(n, "a node", "sites", "nodes") {
				continue
			}
			one := Node{Name: n.Name, Sites: address(&r, n, "sites", true), Nodes: address(&r, n, "nodes", len(nodes.Items) > 1)}
			s.Nodes = append(s.Nodes, one)
		}
		if n := len(nodes.Items); n == 2 || n > 5 {
			r.Fault(nodes, fault.Range, "a hub of %d nodes", n).Fix("one, three or five: two can do no more than one, for neither may go on alone")
		}
	}
	if k := root.Get("keep"); k != nil && r.Keys(k, "keep", "days", "gb") {
		s.Keep.Days = int(number(&r, k, "days", defaultDays))
		s.Keep.GB = number(&r, k, "gb", defaultGB)
	}
	if m := root.Get("sites"); m != nil && (m.Kind == keyed.Table || m.Kind == keyed.List || m.Text != "") {
		if m.Kind != keyed.Table {
			r.Fault(m, fault.Type, "sites are a map of names and keys").Fix("have admit write them")
		}
		for _, it := range m.Items {
			name(&r, it)
			if !nkeys.IsValidPublicUserKey(it.Text) {
				r.Fault(it, fault.Range, "that is no site's key").Fix("have admit make one")
			}
			if i := slices.IndexFunc(s.Sites, func(m Member) bool { return m.Key == it.Text }); i >= 0 {
				r.Fault(it, fault.Duplicate, "the key is that of %s too", s.Sites[i].Site).Fix("have admit make one for each site")
			}
			s.Sites = append(s.Sites, Member{it.Name, it.Text})
		}
		if len(m.Items) > mostSites {
			r.Fault(m, fault.TooLarge, "%d sites", len(m.Items)).Fix("%d are the most of one hub", mostSites)
		}
	}
	return s, r.Err()
}

func versionOf(r *keyed.Reader, root *keyed.Node, key string) {
	if v := r.Text(root, key, fmt.Sprintf("write %s: 1 in the first line", key)); v != nil && v.Text != "1" {
		r.Fault(v, fault.Unsupported, "version %s of this kind of file", keyed.Quote(v.Text)).Fix("write 1, or use the newer program")
	}
}

func name(r *keyed.Reader, n *keyed.Node) {
	if !goodName(n.Name) || n.Name == fleet.Office {
		r.Fault(n, fault.Syntax, "nothing can be called %s here", keyed.Quote(n.Name)).Fix("use small letters, figures and hyphens, 32 at the most")
	}
}

// goodName tells whether a text can name a node or a site: it stands in file
// names and in subjects of the message server.
func goodName(s string) bool {
	if s == "" || len(s) > 32 || s[0] == '-' {
		return false
	}
	for _, c := range []byte(s) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

func address(r *keyed.Reader, n *keyed.Node, key string, needed bool) string {
	need := ""
	if needed {
		need = fmt.Sprintf("write %s: host and port", key)
	}
	it := r.Text(n, key, need)
	if it == nil {
		return ""
	}
	if _, _, err := hostPort(it.Text); err != nil {
		r.Adopt(it, err)
	}
	return it.Text
}

func hostPort(s string) (host string, port int, err error) {
	host, p, err := net.SplitHostPort(s)
	if err == nil {
		port, err = strconv.Atoi(p)
	}
	if err != nil || host == "" || port < 1 || port > 65535 {
		return "", 0, fault.New(fault.Syntax, "%q is no address", s).Fix("write host and port: 10.20.0.1:7422")
	}
	return host, port, nil
}

func number(r *keyed.Reader, n *keyed.Node, key string, or float64) float64 {
	it := r.Text(n, key, "")
	if it == nil {
		return or
	}
	v, err := strconv.ParseFloat(it.Text, 64)
	if err != nil || !(v > 0) || v > 1e6 {
		r.Fault(it, fault.Range, "%s is a number above zero", key)
		return or
	}
	return v
}

// age is how long a message stays.
func (k Keep) age() time.Duration { return time.Duration(k.Days) * 24 * time.Hour }

// Joining is what a site needs to join a hub. It holds the site's secret key.
type Joining struct {
	Site      string
	Hub       []string // host and port of each node
	Seed      string   // secret
	Authority []byte   // certificate that the nodes' own are held against, PEM
}

// ReadJoining reads a site's file, as Text writes it.
func ReadJoining(file string, data []byte) (*Joining, error) {
	r := keyed.Reader{File: file}
	root := r.Parse(data)
	if root == nil {
		return nil, r.Err()
	}
	if !r.Keys(root, "a site's file", "join", "site", "hub", "seed", "authority") {
		return nil, r.Err()
	}
	j := &Joining{Hub: r.Texts(root, "hub")}
	versionOf(&r, root, "join")
	if it := r.Text(root, "site", "have the hub's admit write the file"); it != nil {
		if j.Site = it.Text; !goodName(j.Site) {
			r.Fault(it, fault.Syntax, "no site can be called %s", keyed.Quote(it.Text)).Fix("use small letters, figures and hyphens")
		}
	}
	if len(j.Hub) == 0 {
		r.Fault(root, fault.Missing, "the key hub is missing").Fix("write host and port of each of its nodes")
	}
	for _, h := range j.Hub {
		if _, _, err := hostPort(h); err != nil {
			r.Adopt(cmp.Or(root.Get("hub"), root), err)
		}
	}
	if it := r.Text(root, "seed", "have the hub's admit write the file"); it != nil {
		j.Seed = it.Text
		if k, err := nkeys.FromSeed([]byte(j.Seed)); err != nil {
			r.Fault(it, fault.Range, "that is no site's secret key").Fix("have the hub's admit make one")
		} else if p, err := k.PublicKey(); err != nil || !nkeys.IsValidPublicUserKey(p) {
			r.Fault(it, fault.Range, "that is a key, but no site's").Fix("have the hub's admit make one")
		}
	}
	if it := root.Get("authority"); it == nil {
		r.Fault(root, fault.Missing, "the key authority is missing").Fix("have the hub's admit write the file")
	} else {
		j.Authority = []byte(it.Text)
		if b, _ := pem.Decode(j.Authority); b == nil {
			r.Fault(it, fault.Syntax, "that is no certificate").Fix("have the hub's admit write the file")
		} else if _, err := x509.ParseCertificate(b.Bytes); err != nil {
			r.Fault(it, fault.Syntax, "that is no certificate").Fix("have the hub's admit write the file")
		}
	}
	return j, r.Err()
}

// Text is the file that ReadJoining reads.
func (j *Joining) Text() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# Lets the site %s join its hub. The seed is a secret: who has it can speak as\n# this site. Keep the file where only serve can read it.\njoin: 1\nsite: %s\nhub: [%s]\nseed: %s\nauthority: |\n", j.Site, j.Site, strings.Join(j.Hub, ", "), j.Seed)
	for line := range strings.Lines(string(j.Authority)) {
		b.WriteString("  " + line)
	}
	return []byte(b.String())
}

// Admit makes a key for a site, writes its public half into a hub's file and
// gives what the site needs. The other nodes are to be given the same file; each
// looks at its own now and then.
func Admit(file, site string, authority []byte) (*Joining, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, fault.New(fault.Path, "the hub's file cannot be read").In(file).Because(err)
	}
	s, err := ReadSettings(file, data)
	if err != nil {
		return nil, err
	}
	switch {
	case !goodName(site) || site == fleet.Office:
		return nil, fault.New(fault.Syntax, "no site can be called %q", site).Fix("use small letters, figures and hyphens, 32 at the most")
	case s.keys()[site] != "":
		return nil, fault.New(fault.Duplicate, "%s has been admitted", site).In(file).Fix("take its line out of the file first, if its key is lost or stolen")
	}
	k, err := nkeys.CreateUser()
	if err != nil {
		return nil, fault.New(fault.Internal, "a key cannot be made").Because(err)
	}
	public, err := k.PublicKey()
	if err != nil {
		return nil, err
	}
	seed, err := k.Seed()
	if err != nil {
		return nil, err
	}
	line := "  " + site + ": " + public + "\n"
	text := string(data)
	if at := strings.Index("\n"+text, "\nsites:\n"); at >= 0 {
		text = text[:at+len("sites:\n")] + line + text[at+len("sites:\n"):]
	} else if root := s.Sites; root == nil && !strings.Contains("\n"+text, "\nsites:") {
		text = strings.TrimRight(text, "\n") + "\nsites:\n" + line
	} else {
		return nil, fault.New(fault.Unsupported, "the key sites is not written the way admit adds to").In(file).Fix("have sites: on a line of its own, and each site below it")
	}
	if again, err := ReadSettings(file, []byte(text)); err != nil || again.keys()[site] != public {
		return nil, fault.New(fault.Internal, "the hub's file cannot be added to").In(file).Because(err).Fix("add the line by hand: %s", strings.TrimSpace(line))
	}
	if err := replace(file, []byte(text)); err != nil {
		return nil, err
	}
	j := &Joining{Site: site, Seed: string(seed), Authority: authority}
	for _, n := range s.Nodes {
		j.Hub = append(j.Hub, n.Sites)
	}
	return j, nil
}

// replace writes a file whole or not at all.
func replace(file string, data []byte) error {
	info, err := os.Stat(file)
	if err != nil {
		return fault.New(fault.Path, "the file cannot be written").In(file).Because(err)
	}
	part := file + ".part"
	if err = os.WriteFile(part, data, info.Mode().Perm()); err == nil {
		err = os.Rename(part, file)
	}
	if err != nil {
		return fault.New(fault.Path, "the file cannot be written").In(file).Because(err).Fix("look at the disk and your rights to the folder")
	}
	return nil
}
