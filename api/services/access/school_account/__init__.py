"""Sign in with a school account: OpenID Connect, authorization code flow with PKCE.

Only `provider` loads the libraries for that; it is imported when the first sign-in begins.
"""
