"""The form a procedure file comes in by."""

from typing import Any

from django import forms


class ProcedureFileForm(forms.Form):
    """A procedure file: chosen from the device, or pasted and mended here."""

    file = forms.FileField(label="Procedure file", required=False, widget=forms.FileInput({"accept": ".yaml,.yml"}))
    text = forms.CharField(
        label="Or its text", required=False, widget=forms.Textarea({"rows": 24, "spellcheck": "false"}), strip=False
    )

    def clean(self) -> dict[str, Any]:
        upload = self.cleaned_data.get("file")
        if upload is not None:
            self.cleaned_data["text"] = self._read(upload)
        elif not self.cleaned_data.get("text", "").strip():
            self.add_error("file", "Choose a file, or paste its text.")
        return self.cleaned_data

    def _read(self, upload: Any) -> str:
        if upload.size > 200_000:
            self.add_error("file", "The file is larger than 200 kB: that is no procedure.")
            return ""
        try:
            text: str = upload.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            self.add_error("file", "The file is not text in UTF-8.")
            return ""
        return text
