"""Http."""
