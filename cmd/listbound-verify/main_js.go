//go:build js

package main

import (
	"strings"
	"syscall/js"

	"listbound/cmd/internal/bundle"
)

// main lends the check to a page: listboundCheck(bytes of a bundle, key or "") says what the command says. See the
// program in the folder page, which makes the page.
func main() {
	js.Global().Set("listboundCheck", js.FuncOf(func(_ js.Value, args []js.Value) any {
		raw := make([]byte, args[0].Length())
		js.CopyBytesToGo(raw, args[0])
		r := bundle.Check(raw, strings.TrimSpace(args[1].String()))
		var out strings.Builder
		if err := show(&out, r); err != nil {
			out.WriteString(err.Error())
		}
		return map[string]any{"text": out.String(), "ok": r.OK, "whole": r.Whole}
	}))
	js.Global().Call("listboundReady")
	select {}
}
