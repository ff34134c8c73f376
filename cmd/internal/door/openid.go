package door

import (
	"context"
	"crypto/subtle"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/go-json-experiment/json"
	"golang.org/x/oauth2"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/ledger/disk"
)

// OpenID is the house's own sign-in, by OpenID Connect, as openid.json in the folder door describes it. It says who somebody is; whether
// and as what they may come in, the accounts say: nobody is made by it.
type OpenID struct {
	Issuer string `json:"issuer"` // an https address, as the provider writes it
	Client string `json:"client"` // what the provider calls this server
	Secret string `json:"secret"`
	Back   string `json:"back"` // this server's address as browsers ask it, with /sign-in/openid/back behind it
	Name   string `json:"name"` // what people call it, for the button
	// Claim says which of the provider's claims is the sign-in name, once, until the account knows its subject:
	// preferred_username where it is left out, or email, which the provider must have verified.
	Claim string `json:"claim,omitempty"`
	// CA is a file with the authority of the provider's certificate, where the system doesn't trust it.
	CA string `json:"ca,omitempty"`
}

const (
	openIDFile   = "openid.json"
	openIDBack   = "/sign-in/openid/back"
	openIDCookie = "openid"
	openIDWait   = 10 * time.Minute // for somebody to sign in there
	openIDMost   = 10_000           // who are on their way at once
	claimEmail   = "email"
	claimName    = "preferred_username"
)

// readOpenID reads the file, nil where there is none.
func readOpenID(dir string) (*OpenID, error) {
	path := filepath.Join(dir, openIDFile)
	raw, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil //nolint:nilnil // there is none
	case err != nil:
		return nil, fmt.Errorf("OpenID Connect: %w", err)
	}
	if err := disk.This().OwnersAlone(path, mode(path)); err != nil { // it holds the secret
		return nil, err
	}
	o := new(OpenID)
	if err := json.Unmarshal(raw, o, json.RejectUnknownMembers(true)); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if o.Claim == "" {
		o.Claim = claimName
	}
	back, err := url.Parse(o.Back)
	switch {
	case o.Issuer == "" || o.Client == "" || o.Name == "":
		return nil, fmt.Errorf("%s: issuer, client, back and name are needed", path)
	case err != nil || back.Host == "" || back.Path != openIDBack:
		return nil, fmt.Errorf("%s: back is %q; it is this server's address with %s behind it", path, o.Back, openIDBack)
	case o.Claim != claimName && o.Claim != claimEmail:
		return nil, fmt.Errorf("%s: claim is %q; it is %s or %s", path, o.Claim, claimName, claimEmail)
	}
	return o, nil
}

// openID is where people are on their way to the provider and back.
type openID struct {
	set    *OpenID
	clock  func() time.Time
	client *http.Client

	asking   chan struct{}  // held while the provider is asked for or looked at
	provider *oidc.Provider // once it has answered

	mu   sync.Mutex
	away map[string]away // by digest of the cookie
}

// away is one who has gone to the provider.
type away struct {
	state, nonce, verifier, next string
	until                        time.Time
}

func newOpenID(set *OpenID, clock func() time.Time) (*openID, error) {
	const patience = 15 * time.Second
	o := &openID{set: set, clock: clock, client: &http.Client{Timeout: patience}, away: make(map[string]away),
		asking: make(chan struct{}, 1)}
	if set.CA == "" {
		return o, nil
	}
	raw, err := os.ReadFile(set.CA)
	if err != nil {
		return nil, fmt.Errorf("OpenID Connect: %w", err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(raw) {
		return nil, fmt.Errorf("OpenID Connect: %s holds no certificate (PEM)", set.CA)
	}
	o.client.Transport = &http.Transport{TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}}
	return o, nil
}

// ask returns the provider. It is asked when somebody first signs in by it, so that this server starts without it.
func (o *openID) ask(ctx context.Context) (*oidc.Provider, *oauth2.Config, error) {
	select {
	case o.asking <- struct{}{}:
		defer func() { <-o.asking }()
	case <-ctx.Done():
		return nil, nil, fmt.Errorf("OpenID Connect: %w", ctx.Err())
	}
	if o.provider == nil {
		// The keys are fetched in this context for as long as the server runs, so it is no request's.
		p, err := oidc.NewProvider(oidc.ClientContext(context.Background(), o.client), o.set.Issuer)
		if err != nil {
			return nil, nil, fmt.Errorf("OpenID Connect: %w", err)
		}
		o.provider = p
	}
	return o.provider, &oauth2.Config{ClientID: o.set.Client, ClientSecret: o.set.Secret, Endpoint: o.provider.Endpoint(),
		RedirectURL: o.set.Back, Scopes: []string{oidc.ScopeOpenID, "profile", "email"}}, nil
}

// leave remembers somebody who goes, and returns their cookie.
func (o *openID) leave(a away) string {
	given := secret()
	now := o.clock()
	o.mu.Lock()
	defer o.mu.Unlock()
	for k, old := range o.away {
		if !now.Before(old.until) || len(o.away) >= openIDMost {
			delete(o.away, k)
		}
	}
	a.until = now.Add(openIDWait)
	o.away[digest(given)] = a
	return given
}

// comeBack returns who went with a cookie, once.
func (o *openID) comeBack(given string) (away, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	k := digest(given)
	a, ok := o.away[k]
	delete(o.away, k)
	return a, ok && o.clock().Before(a.until)
}

// claims are what is read of an ID token.
type claims struct {
	Name     string `json:"preferred_username"`
	Email    string `json:"email"`
	Verified bool   `json:"email_verified"`
	AuthTime int64  `json:"auth_time"` // seconds since 1970; the provider must say it where max_age was asked for
}

// authenticated is when somebody showed the provider who they are, zero where it doesn't say: it may have let them in by a
// session of its own.
func (c claims) authenticated(now time.Time) time.Time {
	if c.AuthTime <= 0 {
		return time.Time{}
	}
	if at := time.Unix(c.AuthTime, 0); at.Before(now) {
		return at
	}
	return now
}

// login is the sign-in name that the claims say, "" for none.
func (o *OpenID) login(c claims) string {
	name := c.Name
	if o.Claim == claimEmail {
		if name = c.Email; !c.Verified {
			return ""
		}
	}
	if name = readLogin(name); !goodLogin(name) {
		return ""
	}
	return name
}

func (d *Door) registerOpenID(mux shell.Mux) {
	mux.HandleFunc("GET /sign-in/openid", d.goToOpenID)
	mux.HandleFunc("GET "+openIDBack, d.backFromOpenID)
}

var errNoOpenID = errors.New("no sign-in by OpenID Connect is set up here")

// goToOpenID sends somebody to the provider.
func (d *Door) goToOpenID(w http.ResponseWriter, r *http.Request) {
	if d.openID == nil {
		d.sh.FailText(w, r, refusal.WithCode(http.StatusNotFound, "%s", errNoOpenID))
		return
	}
	_, c, err := d.openID.ask(r.Context())
	if err != nil {
		d.o.Log.Error("the sign-in elsewhere does not answer", "error", err)
		d.openIDFailed(w, r, http.StatusBadGateway, "door.openid-failed")
		return
	}
	a := away{state: secret(), nonce: secret(), verifier: oauth2.GenerateVerifier(), next: ownPath(r.URL.Query().Get("next"))}
	setCookie(w, r, openIDCookie, d.openID.leave(a), openIDWait)
	opts := []oauth2.AuthCodeOption{oidc.Nonce(a.nonce), oauth2.S256ChallengeOption(a.verifier)}
	if r.URL.Query().Get("again") != "" { // who has signed in there is to show once more who they are, and when is to be said
		opts = append(opts, oauth2.SetAuthURLParam("prompt", "login"),
			oauth2.SetAuthURLParam("max_age", strconv.Itoa(int(provedKept/time.Second))))
	}
	http.Redirect(w, r, c.AuthCodeURL(a.state, opts...), http.StatusSeeOther)
}

func (d *Door) openIDFailed(w http.ResponseWriter, r *http.Request, status int, key string) {
	d.signInPage(w, r, status, signIn{Problem: d.sh.Words(r).T(key, d.openID.set.Name)})
}

// backFromOpenID lets in who comes back from the provider and has an account.
func (d *Door) backFromOpenID(w http.ResponseWriter, r *http.Request) {
	if d.openID == nil {
		d.sh.FailText(w, r, refusal.WithCode(http.StatusNotFound, "%s", errNoOpenID))
		return
	}
	a, ok := d.openID.comeBack(cookie(r, openIDCookie))
	setCookie(w, r, openIDCookie, "", 0)
	state := r.URL.Query().Get("state")
	if !ok || subtle.ConstantTimeCompare([]byte(state), []byte(a.state)) != 1 {
		// A link that somebody made, to sign this browser in as themselves, has no cookie that goes with it.
		d.watch.Refused(r, WhyOpenID, "nobody")
		d.openIDFailed(w, r, http.StatusUnauthorized, "door.openid-failed")
		return
	}
	token, c, err := d.openIDToken(r, a)
	if err != nil {
		d.o.Log.Warn("the sign-in elsewhere was not taken", "error", err)
		d.watch.Refused(r, WhyOpenID, "nobody")
		d.openIDFailed(w, r, http.StatusUnauthorized, "door.openid-failed")
		return
	}
	p, err := d.openIDPerson(token.Issuer+" "+token.Subject, d.openID.set.login(c))
	switch {
	case errors.Is(err, errNoAccount):
		d.watch.Refused(r, WhyOpenID, "nobody")
		d.openIDFailed(w, r, http.StatusForbidden, "door.openid-unknown")
		return
	case err != nil:
		d.sh.FailText(w, r, err)
		return
	}
	d.enter(w, r, p, addressOf(r), c.authenticated(d.o.Clock()))
	if a.next == "" {
		a.next = home(p)
	}
	http.Redirect(w, r, a.next, http.StatusSeeOther)
}

// openIDToken fetches the ID token for a code and checks it: signature, issuer, for whom, until when, and that it was asked for by
// this browser.
func (d *Door) openIDToken(r *http.Request, a away) (token *oidc.IDToken, c claims, err error) {
	p, conf, err := d.openID.ask(r.Context())
	if err != nil {
		return nil, c, err
	}
	ctx := oidc.ClientContext(r.Context(), d.openID.client)
	got, err := conf.Exchange(ctx, r.URL.Query().Get("code"), oauth2.VerifierOption(a.verifier))
	if err != nil {
		// The library's error has the provider's answer in it, which may be anything.
		return nil, c, errors.New("the provider gave no token for the code")
	}
	raw, ok := got.Extra("id_token").(string)
	if !ok {
		return nil, c, errors.New("the provider gave no ID token")
	}
	token, err = p.VerifierContext(oidc.ClientContext(context.Background(), d.openID.client),
		&oidc.Config{ClientID: d.openID.set.Client, Now: d.o.Clock}).Verify(ctx, raw)
	if err != nil {
		return nil, c, err
	}
	if subtle.ConstantTimeCompare([]byte(token.Nonce), []byte(a.nonce)) != 1 {
		return nil, c, errors.New("the ID token was made for another sign-in")
	}
	if err := token.Claims(&c); err != nil {
		return nil, c, err
	}
	if d.openID.set.login(c) != "" {
		return token, c, nil
	}
	// Some providers have names in the answer about the user alone.
	info, err := p.UserInfo(ctx, conf.TokenSource(ctx, got))
	if err != nil {
		return nil, c, errors.New("the provider says nothing of the user")
	}
	if info.Subject != token.Subject {
		return nil, c, errors.New("the provider speaks of another user")
	}
	return token, c, info.Claims(&c)
}

var errNoAccount = errors.New("no account")

// openIDPerson finds the account of a subject. The first time the sign-in name leads to it, and then only the subject does: a name can be
// given to somebody else, a subject never is.
func (d *Door) openIDPerson(subject, login string) (*Person, error) {
	bySubject := func(p *Person) bool { return p.Subject == subject }
	if p := d.books.read().person(bySubject); p != nil {
		return p, nil
	}
	var out Person
	err := d.books.change(func(b *book) error {
		p := b.byLogin(login)
		if login == "" || p == nil || p.Subject != "" {
			return errNoAccount
		}
		p.Subject = subject
		out = *p
		b.changed(d.o.Clock(), "person "+p.ID, "openid", "person "+p.ID, subject)
		return nil
	})
	return &out, err
}
