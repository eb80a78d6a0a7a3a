"""Phone to job and back: app factory, routes, WebSocket, messages. No SQL, no grammars, no YAML."""
