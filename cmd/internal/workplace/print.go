package workplace

import "net/http"

func (d *Desk) registerPrint(mux *http.ServeMux) {}
