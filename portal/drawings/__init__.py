"""Pictures drawn on the server: frozen values in, SVG markup out. Colours and patterns are the style sheet's."""
