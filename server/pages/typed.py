"""What was typed into a form whose fields are made by a table, and so have no parameters of their own."""

from fastapi import Request


async def typed(request: Request, most_fields: int) -> dict[str, str]:
    """Every field by its name, as text; more fields than that are refused, and files are."""
    async with request.form(max_files=0, max_fields=most_fields) as form:
        return {key: value for key, value in form.items() if isinstance(value, str)}
