"""The pages a caster sees, rendered on the server."""
