package door_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"
	"time"

	"listbound/cmd/internal/door"
)

// liar is a provider that answers each code with the token that a test wants: what a real one never gives.
type liar struct {
	issuer, raw string
	key         *ecdsa.PrivateKey
}

const (
	liarsClient = "listbound"
	liarsSecret = "the-secret"
)

func newLiar(t *testing.T) *liar {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	l := &liar{key: key}
	mux := http.NewServeMux()
	say := func(path string, v func() any) {
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			if err := json.NewEncoder(w).Encode(v()); err != nil {
				t.Error(err)
			}
		})
	}
	say("/.well-known/openid-configuration", func() any {
		return map[string]any{"issuer": l.issuer, "authorization_endpoint": l.issuer + "/auth", "token_endpoint": l.issuer + "/token",
			"jwks_uri": l.issuer + "/keys", "id_token_signing_alg_values_supported": []string{"ES256", "HS256", "none"}}
	})
	say("/keys", func() any {
		point, err := key.PublicKey.Bytes() // 4, x, y
		if err != nil {
			t.Error(err)
			return nil
		}
		const half = 32
		return map[string]any{"keys": []any{map[string]string{"kty": "EC", "crv": "P-256", "alg": "ES256", "use": "sig", "kid": "1",
			"x": b64(point[1 : 1+half]), "y": b64(point[1+half:])}}}
	})
	say("/token", func() any {
		return map[string]any{"access_token": "a", "token_type": "Bearer", "expires_in": 300, "id_token": l.raw}
	})
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	l.issuer = srv.URL
	return l
}

func b64(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// token puts one together, signed as its header says, or by another key.
func (l *liar) token(t *testing.T, alg string, key *ecdsa.PrivateKey, claims map[string]any) string {
	t.Helper()
	head, err := json.Marshal(map[string]string{"alg": alg, "kid": "1"})
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(claims)
	if err != nil {
		t.Fatal(err)
	}
	said := b64(head) + "." + b64(body)
	switch alg {
	case "none":
		return said + "."
	case "HS256": // by what both sides know
		m := hmac.New(sha256.New, []byte(liarsSecret))
		m.Write([]byte(said))
		return said + "." + b64(m.Sum(nil))
	}
	sum := sha256.Sum256([]byte(said))
	r, s, err := ecdsa.Sign(rand.Reader, key, sum[:])
	if err != nil {
		t.Fatal(err)
	}
	const half = 32
	return said + "." + b64(append(r.FillBytes(make([]byte, half)), s.FillBytes(make([]byte, half))...))
}

// comesBack goes to the provider and comes back with a token that claims what is usual, or other things instead. before is done while away.
func (l *liar) comesBack(t *testing.T, h *house, alg string, key *ecdsa.PrivateKey, other map[string]any, want int, before ...func()) {
	t.Helper()
	c := &caller{h: h}
	w := c.ask(t, t.Context(), http.MethodGet, "/sign-in/openid", "", "")
	to, err := url.Parse(w.Header().Get("Location"))
	if err != nil {
		t.Fatal(err)
	}
	now := h.clock.now()
	claims := map[string]any{"iss": l.issuer, "aud": liarsClient, "sub": "s-1", "nonce": to.Query().Get("nonce"),
		"preferred_username": "tess", "iat": now.Unix(), "exp": now.Add(time.Minute).Unix()}
	maps.Copy(claims, other)
	l.raw = l.token(t, alg, key, claims)
	for _, f := range before {
		f()
	}
	back := "/sign-in/openid/back?code=c&state=" + url.QueryEscape(to.Query().Get("state"))
	if w := c.ask(t, t.Context(), http.MethodGet, back, "", ""); w.Code != want {
		t.Errorf("%s, %v: %d, want %d", alg, other, w.Code, want)
	}
	if code, _ := c.get(t, "/near-misses"); (code == http.StatusOK) != (want == http.StatusSeeOther) {
		t.Errorf("%s, %v, and then: %d", alg, other, code)
	}
}

// TestOpenIDTokens: what comes back is taken only if the provider signed it, for this server, for this sign-in, and it still holds (OpenID
// Connect Core 1.0, 3.1.3.7); and who was ended while away at the provider comes back to nothing.
func TestOpenIDTokens(t *testing.T) {
	l := newLiar(t)
	h := newHouse(t)
	withOpenID(t, h, door.OpenID{Issuer: l.issuer, Client: liarsClient, Secret: liarsSecret, Back: backAddress, Name: "House"})
	h.admin.post(t, "/people/add", url.Values{"login": {"tess"}, "name": {"Tess"}, "role": {"leads"}})
	stranger, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	const in, no = http.StatusSeeOther, http.StatusUnauthorized
	l.comesBack(t, h, "ES256", l.key, nil, in)
	older := l.raw
	l.comesBack(t, h, "ES256", l.key, nil, no, func() { l.raw = older })
	over := h.clock.now().Add(-time.Second).Unix()
	for _, other := range []map[string]any{
		{"nonce": "x"}, {"nonce": ""}, {"iss": "https://elsewhere.example"}, {"aud": "another"}, {"exp": over}, {"exp": 0},
	} {
		l.comesBack(t, h, "ES256", l.key, other, no)
	}
	l.comesBack(t, h, "none", nil, nil, no)
	l.comesBack(t, h, "HS256", nil, nil, no)
	l.comesBack(t, h, "ES256", stranger, nil, no)
	l.comesBack(t, h, "ES256", l.key, nil, in)
	l.comesBack(t, h, "ES256", l.key, map[string]any{"sub": "s-2"}, http.StatusForbidden) // who got the name later
	l.comesBack(t, h, "ES256", l.key, nil, http.StatusForbidden, func() {
		h.admin.post(t, "/people/end", url.Values{"id": {h.idOf(t, "tess")}})
	})
}

// TestOpenIDByEmail: where the sign-in name is an address, it leads to an account only if the provider has verified it.
func TestOpenIDByEmail(t *testing.T) {
	l := newLiar(t)
	h := newHouse(t)
	withOpenID(t, h, door.OpenID{Issuer: l.issuer, Client: liarsClient, Secret: liarsSecret, Back: backAddress, Name: "House",
		Claim: "email"})
	h.admin.post(t, "/people/add", url.Values{"login": {"tess@north.example"}, "name": {"Tess"}, "role": {"leads"}})
	for _, verified := range []bool{false, true} {
		want := http.StatusUnauthorized
		if verified {
			want = http.StatusSeeOther
		}
		l.comesBack(t, h, "ES256", l.key, map[string]any{"email": "tess@north.example", "email_verified": verified}, want)
	}
}
