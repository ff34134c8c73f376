package witness

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger/proof"
)

// Policy says who witnesses a ledger and whose signatures are enough, in the
// form of c2sp.org/tlog-policy:
//
//	log KEY [URL]
//	witness NAME KEY [URL]
//	group NAME all|any|N NAME …
//	quorum NAME|none
type Policy struct {
	Ledgers   []note.Verifier // for which it holds; none: for the one at hand
	Witnesses []Known
	quorum    string
	groups    map[string]group
}

// Known is one witness of a policy.
type Known struct {
	Name string // within the policy
	Key  note.Verifier
	URL  string // empty where the policy is only for checking
}

type group struct {
	need    int
	members []string
}

// noQuorum is the quorum that asks for no signature.
const noQuorum = "none"

// ParsePolicy reads a policy. It refuses what the specification forbids: a name
// or a key given twice, a group that is always or never satisfied, a member that
// is nowhere above, no or two quorum lines.
func ParsePolicy(text []byte) (*Policy, error) {
	p := &Policy{groups: make(map[string]group)}
	for i, line := range strings.Split(string(text), "\n") {
		for _, c := range []byte(line) {
			if c < ' ' && c != '\t' || c == 0x7f {
				return nil, fmt.Errorf("line %d has a control character (0x%02x)", i+1, c)
			}
		}
		words := strings.FieldsFunc(line, func(r rune) bool { return r == ' ' || r == '\t' })
		if len(words) == 0 || strings.HasPrefix(words[0], "#") {
			continue
		}
		if err := p.add(words[0], words[1:]); err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	if p.quorum == "" {
		return nil, errors.New("there is no quorum line; it says " +
			"whose signatures are enough: quorum NAME, or quorum none")
	}
	return p, nil
}

func (p *Policy) add(what string, args []string) error {
	switch what {
	case "log":
		return p.addLedger(args)
	case "witness":
		return p.addWitness(args)
	case "group":
		return p.addGroup(args)
	case "quorum":
		if len(args) != 1 {
			return errors.New("a quorum line is: quorum NAME")
		}
		if p.quorum != "" {
			return errors.New("there is a second quorum line")
		}
		if args[0] != noQuorum && !p.defined(args[0]) {
			return fmt.Errorf("%s is no witness or group of a line above", args[0])
		}
		p.quorum = args[0]
		return nil
	}
	return fmt.Errorf("%q begins no line of a policy; they begin with log, witness, group or quorum", what)
}

func (p *Policy) defined(name string) bool {
	_, ok := p.groups[name]
	return ok || slices.ContainsFunc(p.Witnesses, func(k Known) bool { return k.Name == name })
}

func (p *Policy) define(name string) error {
	if name == noQuorum || p.defined(name) {
		return fmt.Errorf("the name %s is taken", name)
	}
	return nil
}

func (p *Policy) addLedger(args []string) error {
	if len(args) < 1 || len(args) > 2 {
		return errors.New("a log line is: log KEY [URL]")
	}
	key, err := note.NewVerifier(args[0])
	if err != nil {
		return fmt.Errorf("%q is not the public key of a ledger", args[0])
	}
	for _, l := range p.Ledgers {
		if l.Name() == key.Name() && l.KeyHash() == key.KeyHash() {
			return fmt.Errorf("the ledger %s stands in two lines", key.Name())
		}
	}
	p.Ledgers = append(p.Ledgers, key)
	return nil
}

func (p *Policy) addWitness(args []string) error {
	if len(args) < 2 || len(args) > 3 {
		return errors.New("a witness line is: witness NAME KEY [URL]")
	}
	if err := p.define(args[0]); err != nil {
		return err
	}
	key, err := proof.NewCosignatureVerifier(args[1])
	if err != nil {
		return err
	}
	for _, k := range p.Witnesses {
		if proof.SameKey(k.Key, key) {
			return fmt.Errorf("%s has the key of %s: one witness can't count twice", args[0], k.Name)
		}
	}
	k := Known{Name: args[0], Key: key}
	if len(args) == 3 {
		k.URL = args[2]
	}
	p.Witnesses = append(p.Witnesses, k)
	return nil
}

func (p *Policy) addGroup(args []string) error {
	if len(args) < 3 {
		return errors.New("a group line is: group NAME all|any|N NAME …")
	}
	if err := p.define(args[0]); err != nil {
		return err
	}
	g := group{members: args[2:]}
	for i, m := range g.members {
		if !p.defined(m) {
			return fmt.Errorf("%s is no witness or group of a line above", m)
		}
		if slices.Contains(g.members[:i], m) {
			return fmt.Errorf("%s is in the group twice", m)
		}
		for name, other := range p.groups {
			if slices.Contains(other.members, m) {
				return fmt.Errorf("%s is in the group %s already", m, name)
			}
		}
	}
	switch args[1] {
	case "all":
		g.need = len(g.members)
	case "any":
		g.need = 1
	default:
		n, err := strconv.Atoi(args[1])
		if err != nil || strconv.Itoa(n) != args[1] || n < 1 || n > len(g.members) {
			return fmt.Errorf("%s of %d members can't be asked for", args[1], len(g.members))
		}
		g.need = n
	}
	p.groups[args[0]] = g
	return nil
}

// Enough reports whether the witnesses that have signed, by their names within
// the policy, are enough.
func (p *Policy) Enough(signed func(name string) bool) bool {
	if p.quorum == noQuorum {
		return true
	}
	return p.enough(p.quorum, signed)
}

func (p *Policy) enough(name string, signed func(string) bool) bool {
	g, ok := p.groups[name]
	if !ok {
		return signed(name)
	}
	have := 0
	for _, m := range g.members {
		if p.enough(m, signed) {
			have++
		}
	}
	return have >= g.need
}
