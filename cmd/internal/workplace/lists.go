package workplace

import "net/http"

func (d *Desk) registerLists(mux *http.ServeMux) {}
