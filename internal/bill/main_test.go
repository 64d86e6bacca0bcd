package main

import "testing"

func TestLicenceOf(t *testing.T) {
	for text, want := range map[string]string{
		"MIT License\n\nPermission is hereby granted, free of\ncharge, to any person obtaining a copy of":          "MIT",
		"Redistribution and use in source and binary\nforms, with or without":                                      "BSD-2-Clause",
		"Redistribution and use in source and binary forms ... may be used to endorse or promote products derived": "BSD-3-Clause",
		"                                 Apache License\n                           Version 2.0, January 2004\n":  "Apache-2.0",
		"GNU GENERAL PUBLIC LICENSE\nVersion 3, 29 June 2007":                                                      "",
		"Business Source License 1.1": "",
		"all rights reserved":         "",
	} {
		if got := licenceOf(text); got != want {
			t.Errorf("%.40q is told as %q, want %q", text, got, want)
		}
	}
}

// What may not be in the program is refused.
func TestJudge(t *testing.T) {
	if err := judge([]part{{"pkg:golang/a@v1", "a", "v1", "MIT", ""}, {"pkg:npm/b@1", "b", "1", "0BSD", ""}}); err != nil {
		t.Error(err)
	}
	for _, p := range []part{{"pkg:golang/a@v1", "a", "v1", "", ""}, {"pkg:golang/a@v1", "a", "v1", "GPL-3.0", ""}, {"pkg:golang/a@v1", "a", "v1", "0BSD", ""}} {
		if judge([]part{p}) == nil {
			t.Errorf("%+v is let in", p)
		}
	}
}
